"""Sensors of one activity, taken apart by firmware and model: nothing is pooled over them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.study.selection import Counted
from analysis.study.statistic import Statistic

UNKNOWN = "not known"


@dataclass(frozen=True, slots=True, eq=False)
class Variant:
    """One sensor with one firmware in one activity, and the sessions it counts in, in order.

    ``name``: its label, and what tells it from others of that label.
    """

    name: str
    label: str
    firmware: str
    model: str
    activity: str
    counted: tuple[Counted, ...]

    @property
    def sessions(self) -> int:
        """How many."""
        return len(self.counted)

    @property
    def wearers(self) -> list[str]:
        """Of each session."""
        return [one.session.wearer for one in self.counted]

    def only(self, wanted: Callable[[Counted], bool]) -> Variant:
        """The same with these sessions alone."""
        kept = tuple(one for one in self.counted if wanted(one))
        return Variant(self.name, self.label, self.firmware, self.model, self.activity, kept)

    def that_give(self, statistic: Statistic) -> Variant:
        """The same with the sessions that have a value of this statistic."""
        return self.only(lambda one: statistic.value(one.sensor) is not None)

    def values(self, statistic: Statistic) -> FloatArray:
        """Of each session, float64[k]; NaN where it has none."""
        found = [statistic.value(one.sensor) for one in self.counted]
        return np.array([np.nan if value is None else value for value in found], dtype=float)


def variants_of(activity: str, counted: Iterable[Counted]) -> tuple[Variant, ...]:
    """Of the sensors that count in an activity: by label, then in order of first use."""
    groups: dict[tuple[str, str, str], list[Counted]] = {}
    for one in counted:
        key = (one.sensor.label, one.sensor.firmware, one.sensor.model)
        groups.setdefault(key, []).append(one)
    keys = sorted(groups, key=lambda key: key[0])
    return tuple(Variant(_name(key, keys), *key, activity, tuple(groups[key])) for key in keys)


def _name(key: tuple[str, str, str], keys: Sequence[tuple[str, str, str]]) -> str:
    label, firmware, model = key
    same = [other for other in keys if other[0] == label]
    told = []
    if len({other[1] for other in same}) > 1:
        told.append(firmware or f"firmware {UNKNOWN}")
    if len({other[2] for other in same}) > 1:
        told.append(model or f"model {UNKNOWN}")
    return " ".join([label, *told])
