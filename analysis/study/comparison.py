"""What comparing two sensors, firmwares or arms gives, and whether a claim may be made of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from analysis.statistics.estimate import Estimate
from analysis.study.failures import Failures
from analysis.study.needed import Needed

SIGNIFICANCE: Final = 0.05


class Kind(StrEnum):
    """What differs between the two."""

    SENSORS = "sensors"
    FIRMWARE = "firmware"
    ARMS = "arms"


class Standing(StrEnum):
    """What may be claimed."""

    DIFFERS = "differs"
    """The t interval excludes 0 and the exact test agrees."""
    NOT_SETTLED = "not settled"
    TOO_FEW = "too few sessions"
    CONFOUNDED = "confounded"
    """Something else differs in the same way, so that none of the two can be named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """``closer`` against ``other``, in the order in which the difference of the errors is ≥ 0.

    ``paired``: on the same sessions; otherwise on different ones, which tells less.  ``difference``
    is the other's error minus the closer one's, over all ``sessions``; it has no interval if either
    lost the heart in any of them, and no claim is ever made of it then, because no number of
    sessions that testers have holds its type I error (docs/study.md).  ``steady_difference``, with
    ``ratio`` beside it, is over the ``steady_sessions`` in which neither did; claims are about
    these.  ``sessions`` and ``steady_sessions``: of each of the two if not paired.  ``closer_in``:
    of the shared steady sessions, in how many the closer one was closer.  ``p``: of the exact test,
    adjusted for all comparisons of this sort in the activity; ``None`` if too few.
    ``confounded``: with what, a sentence; or empty.  ``needed``: further sessions (wearers, if
    ``about_people``) that would settle it.  ``caution``: what to beware of.  ``relative``: of
    different sessions, the steady difference with the error of a ``control`` that was worn in each
    session taken off; a view, of which no claim is made.
    """

    activity: str
    kind: Kind
    statistic: str
    closer: str
    other: str
    paired: bool
    sessions: tuple[int, int]
    steady_sessions: tuple[int, int]
    wearers: int
    about_people: bool
    difference: Estimate
    steady_difference: Estimate
    ratio: Estimate
    closer_in: int | None
    p: float | None
    failures: tuple[Failures, Failures]
    standing: Standing
    confounded: str
    needed: Needed | None
    caution: str = ""
    control: str = ""
    relative: Estimate | None = None

    @property
    def differs(self) -> bool:
        """Whether it may be claimed that the two differ."""
        return self.standing is Standing.DIFFERS


def standing_of(
    units: int, fewest: int, steady: Estimate, p: float | None, confounded: str
) -> Standing:
    """What may be claimed with ``units`` units of which ``fewest`` are asked for."""
    if units < fewest or p is None or steady.interval is None:
        return Standing.TOO_FEW if units < fewest else Standing.NOT_SETTLED
    low, high = steady.interval
    if p > SIGNIFICANCE or low <= 0 <= high:
        return Standing.NOT_SETTLED
    return Standing.CONFOUNDED if confounded else Standing.DIFFERS
