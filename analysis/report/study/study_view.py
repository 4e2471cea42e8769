"""What the figures of a study are to show, whoever draws them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class StudyView:
    """``sensors``: labels of the sensors that are drawn, all if empty.  ``highlighted``: labels of
    those in their colours, with all their firmwares, all if empty.  ``band``: whether the tolerance
    is drawn.  Axes stay those of the whole study, and no number changes.
    """

    sensors: frozenset[str] = frozenset()
    highlighted: frozenset[str] = frozenset()
    band: bool = True

    @staticmethod
    def of(
        sensors: Iterable[str] = (), highlight: Iterable[str] = (), *, band: bool = True
    ) -> StudyView:
        """With these labels, in any case of letters."""
        return StudyView(
            frozenset(map(str.casefold, sensors)), frozenset(map(str.casefold, highlight)), band
        )

    def shows(self, label: str) -> bool:
        """Whether a sensor is drawn."""
        return not self.sensors or label.casefold() in self.sensors

    def leads_to(self, label: str) -> bool:
        """Whether a sensor has its colour, or stands back in grey."""
        return not self.highlighted or label.casefold() in self.highlighted


ALL: Final = StudyView()
"""All sensors, in their colours."""
