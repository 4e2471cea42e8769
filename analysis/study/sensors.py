"""Each sensor in each activity: its means over sessions, its limits, its failures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from analysis.statistics.estimate import Estimate
from analysis.study.failures import Failures
from analysis.study.means import is_about_people, mean_estimate
from analysis.study.nested import limits_over
from analysis.study.statistic import BIAS, STATISTICS, Statistic
from analysis.study.variant import Variant

WITH_FAILURES: Final = (
    "Sessions in which the sensor lost the heart decide this mean; no interval from so few holds."
)
TOO_FEW_FOR_LIMITS: Final = "Limits of agreement over sessions need two of them."


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """Over ``sessions`` sessions: the mean of each statistic by its key, and the limits of
    agreement of a new pair, with intervals.
    """

    sessions: int
    means: Mapping[str, Estimate]
    sd: Estimate
    loa_low: Estimate
    loa_high: Estimate

    def of(self, statistic: Statistic) -> Estimate:
        """The mean of one statistic."""
        return self.means[statistic.key]


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorResult:
    """One sensor in one activity.

    ``every``: over all its sessions; what failures decide has no interval if there were any.
    ``without_failures``: over those in which it did not lose the heart, ``None`` if it never did.
    ``about_people``: whether wearers are the units, so that it speaks of people in general.
    ``judged`` efforts in all, ``followed`` of them.
    """

    variant: Variant
    wearers: int
    about_people: bool
    every: Means
    without_failures: Means | None
    failures: Failures
    judged: int
    followed: int
    late: int
    blunted: int
    missed: int

    @property
    def name(self) -> str:
        """Its name."""
        return self.variant.name

    @property
    def activity(self) -> str:
        """In which activity."""
        return self.variant.activity

    @property
    def steady(self) -> Means:
        """Over the sessions in which it did not lose the heart."""
        return self.every if self.without_failures is None else self.without_failures


def sensor_result(variant: Variant) -> SensorResult:
    """All that one sensor's sessions in one activity say."""
    failed = sum(one.sensor.lost_the_heart for one in variant.counted)
    every = _means(variant)
    steady = None
    if failed:
        every = _without_intervals(every)
        steady = _means(variant.only(lambda one: not one.sensor.lost_the_heart))
    rows = [one.sensor for one in variant.counted]
    return SensorResult(
        variant=variant,
        wearers=len(set(variant.wearers)),
        about_people=is_about_people(variant.wearers),
        every=every,
        without_failures=steady,
        failures=Failures(failed, variant.sessions),
        judged=sum(row.judged for row in rows),
        followed=sum(row.followed for row in rows),
        late=sum(row.late for row in rows),
        blunted=sum(row.blunted for row in rows),
        missed=sum(row.missed for row in rows),
    )


def _means(variant: Variant) -> Means:
    means = {}
    for statistic in STATISTICS:
        given = variant.that_give(statistic)
        means[statistic.key] = mean_estimate(
            given.values(statistic), given.wearers, statistic.scale
        )
    limits = limits_over([one.sensor.group for one in variant.counted], variant.wearers)
    if limits is None:
        none = Estimate.undefined(TOO_FEW_FOR_LIMITS)
        return Means(sessions=variant.sessions, means=means, sd=none, loa_low=none, loa_high=none)
    means[BIAS.key] = limits.bias  # that of the limits and that of the means are one number
    return Means(
        sessions=variant.sessions, means=means,
        sd=limits.sd, loa_low=limits.low, loa_high=limits.high,
    )  # fmt: skip


def _without_intervals(found: Means) -> Means:
    """The same values, and no interval of what failures decide."""

    def bare(estimate: Estimate) -> Estimate:
        return Estimate(estimate.value, None, estimate.effective_count, WITH_FAILURES)

    decided = {one.key for one in STATISTICS if one.decided_by_failures}
    return replace(
        found,
        means={
            key: bare(mean) if key in decided and mean.value is not None else mean
            for key, mean in found.means.items()
        },
        sd=bare(found.sd), loa_low=bare(found.loa_low), loa_high=bare(found.loa_high),
    )  # fmt: skip
