"""Two sensors on the same sessions: the comparison that tells most.

The difference of their errors in each session is the datum.  All comparisons of an activity are one
family: a claim needs the t interval of its own difference and an adjusted p of the sign flips of
all of them (:func:`analysis.study.flips.max_t_flips`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate
from analysis.study.comparison import Comparison, Kind, standing_of
from analysis.study.failures import Failures
from analysis.study.flips import max_t_flips
from analysis.study.means import Scale, is_about_people, mean_estimate, ratio_estimate, units_of
from analysis.study.needed import Needed, still_needed
from analysis.study.placements import confounded_with_side
from analysis.study.selection import Counted
from analysis.study.sensors import WITH_FAILURES
from analysis.study.statistic import Statistic
from analysis.study.thresholds import DIFFERS
from analysis.study.variant import Variant


@dataclass(frozen=True, slots=True, eq=False)
class Shared:
    """Two sensors, and the sessions in which both count."""

    one: Variant
    other: Variant
    sessions: tuple[tuple[Counted, Counted], ...]

    @property
    def kind(self) -> Kind:
        """Two of one label differ by their firmware."""
        return Kind.FIRMWARE if self.one.label == self.other.label else Kind.SENSORS


def shared_by(one: Variant, other: Variant, statistic: Statistic) -> Shared:
    """The sessions in which both have a value of the statistic."""
    given = {each.session.path: each for each in other.that_give(statistic).counted}
    both = tuple(
        (each, given[each.session.path])
        for each in one.that_give(statistic).counted
        if each.session.path in given
    )
    return Shared(one, other, both)


def compare_paired(family: Sequence[Shared], statistic: Statistic) -> list[Comparison]:
    """Compare each two on their shared sessions; one result for each, in their order."""
    looks = [_Look.of(shared, statistic) for shared in family]
    adjusted = _adjusted(looks)
    return [look.comparison(p) for look, p in zip(looks, adjusted, strict=True)]


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What the shared sessions show; ``all`` and ``steady``: differences float64[k], those of
    ``steady`` in the sessions in which neither lost the heart, ``turned`` so that its mean is ≥ 0.
    """

    shared: Shared
    statistic: Statistic
    every: FloatArray
    wearers: list[str]
    steady: FloatArray
    steady_sessions: list[str]
    steady_wearers: list[str]
    ratio: Estimate
    is_turned: bool

    @staticmethod
    def of(shared: Shared, statistic: Statistic) -> _Look:
        first, second = (
            np.array([statistic.value(pair[place].sensor) for pair in shared.sessions], dtype=float)
            for place in (0, 1)
        )
        lost = np.array([_lost(pair) for pair in shared.sessions], dtype=bool)
        wearers = [pair[0].session.wearer for pair in shared.sessions]
        paths = [pair[0].session.path for pair in shared.sessions]
        steady_wearers = [name for name, gone in zip(wearers, lost, strict=True) if not gone]
        excess = statistic.comparable(second) - statistic.comparable(first)
        deciding = excess[~lost] if (~lost).any() else excess
        is_turned = bool(len(deciding) and deciding.mean() < 0)
        if is_turned:
            excess, first, second = -excess, second, first
        return _Look(
            shared=shared,
            statistic=statistic,
            every=excess,
            wearers=wearers,
            steady=excess[~lost],
            steady_sessions=[path for path, gone in zip(paths, lost, strict=True) if not gone],
            steady_wearers=steady_wearers,
            ratio=ratio_estimate(first[~lost], second[~lost], steady_wearers)
            if statistic.scale is Scale.SIZE
            else Estimate.undefined("A ratio is given of sizes of errors."),
            is_turned=is_turned,
        )

    @property
    def about_people(self) -> bool:
        return is_about_people(self.steady_wearers)

    @property
    def units(self) -> FloatArray:
        return units_of(self.steady, self.steady_wearers)

    @property
    def unit_names(self) -> list[str]:
        """Name of each unit: of one wearer, or of one session."""
        if self.about_people:
            return [f"wearer {name}" for name in dict.fromkeys(self.steady_wearers)]
        return [f"session {path}" for path in self.steady_sessions]

    def comparison(self, p: float | None) -> Comparison:
        one, other = self.shared.one, self.shared.other
        places = (1, 0) if self.is_turned else (0, 1)
        failures = tuple(
            Failures(
                sum(pair[place].sensor.lost_the_heart for pair in self.shared.sessions),
                len(self.shared.sessions),
            )
            for place in places
        )
        if self.is_turned:
            one, other = other, one
        every = mean_estimate(self.every, self.wearers)
        if len(self.steady) < len(self.every):
            every = Estimate(every.value, None, every.effective_count, WITH_FAILURES)
        steady = mean_estimate(self.steady, self.steady_wearers)
        worn = [
            (pair[places[0]].sensor.placement, pair[places[1]].sensor.placement)
            for pair in self.shared.sessions
            if not _lost(pair)
        ]
        confounded = confounded_with_side(worn, self.steady)
        standing = standing_of(len(self.units), DIFFERS, steady, p, confounded)
        return Comparison(
            activity=one.activity,
            kind=self.shared.kind,
            statistic=self.statistic.key,
            closer=one.name,
            other=other.name,
            paired=True,
            sessions=(len(self.every), len(self.every)),
            steady_sessions=(len(self.steady), len(self.steady)),
            wearers=len(set(self.wearers)),
            about_people=self.about_people,
            difference=every,
            steady_difference=steady,
            ratio=self.ratio,
            closer_in=int(np.count_nonzero(self.steady > 0)),
            p=p,
            failures=(failures[0], failures[1]),
            standing=standing,
            confounded=confounded,
            needed=self._needed(steady),
        )

    def _needed(self, steady: Estimate) -> Needed | None:
        if steady.value is None or len(self.units) < 2:
            return None
        return still_needed(steady.value, float(self.units.std(ddof=1)), len(self.units))


def _lost(pair: tuple[Counted, Counted]) -> bool:
    return any(one.sensor.lost_the_heart for one in pair)


def _adjusted(looks: Sequence[_Look]) -> list[float | None]:
    """Adjusted p of each; ``None`` with too few units, which take no part in the family."""
    part = [place for place, look in enumerate(looks) if len(look.units) >= DIFFERS]
    result: list[float | None] = [None] * len(looks)
    if not part:
        return result
    names = dict.fromkeys(name for place in part for name in looks[place].unit_names)
    rows = {name: row for row, name in enumerate(names)}
    table = np.full((len(rows), len(part)), np.nan)
    for column, place in enumerate(part):
        table[[rows[name] for name in looks[place].unit_names], column] = looks[place].units
    for place, p in zip(part, max_t_flips(table).tolist(), strict=True):
        result[place] = p
    return result
