"""Two firmwares, arms or sensors on different sessions: weaker than on the same ones.

Welch's t interval of the difference of the means of the units, and the exact test that exchanges
which session belongs to which; the p of several such comparisons of one activity are adjusted by
Holm (Scand J Stat 1979;6:65–70).  How sessions differ from each other is in the interval, and
whatever changed together with the firmware or the arm is in the difference.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate, t_quantile
from analysis.study.comparison import Comparison, Kind, standing_of
from analysis.study.failures import Failures
from analysis.study.flips import exchange_labels
from analysis.study.means import ALL_EQUAL, ONE_SESSION, Scale, is_about_people, units_of
from analysis.study.needed import Needed, still_needed
from analysis.study.selection import Counted
from analysis.study.sensors import WITH_FAILURES
from analysis.study.statistic import Statistic
from analysis.study.thresholds import DIFFERS
from analysis.study.variant import Variant

WEAKER = "On different sessions, which tells less than on the same ones."


@dataclass(frozen=True, slots=True, eq=False)
class Different:
    """Two groups of sessions and what differs between them."""

    one: Variant
    other: Variant
    kind: Kind


def welch(one: FloatArray, other: FloatArray, *, logs: bool = False) -> Estimate:
    """Mean of ``other`` − mean of ``one`` with Welch's t interval (Biometrika 1947;34:28–35).

    ``one`` float64[n], ``other`` float64[m]: units.  ``logs``: the ratio of geometric means.

    >>> import numpy as np
    >>> found = welch(np.array([1.0, 2.0, 3.0]), np.array([3.0, 4.0, 5.0]))
    >>> found.value, [round(end, 2) for end in found.interval]
    (2.0, [-0.27, 4.27])
    """
    if not len(one) or not len(other):
        return Estimate.undefined("There are no sessions of one of the two.")
    if logs:
        if not ((one > 0).all() and (other > 0).all()):
            return Estimate.undefined("A ratio needs errors above 0 in every session.")
        found = welch(np.log(one), np.log(other))
        value = None if found.value is None else math.exp(found.value)
        ends = found.interval and (math.exp(found.interval[0]), math.exp(found.interval[1]))
        return Estimate(value, ends, found.effective_count, found.caution)
    difference = float(other.mean() - one.mean())
    if min(len(one), len(other)) < 2:
        return Estimate(difference, caution=ONE_SESSION)
    parts = [float(each.var(ddof=1)) / len(each) for each in (one, other)]
    total = sum(parts)
    if total <= 0:
        return Estimate(difference, caution=ALL_EQUAL)
    degrees = total**2 / sum(
        part**2 / (len(each) - 1) for part, each in zip(parts, (one, other), strict=True)
    )
    half = t_quantile(degrees) * math.sqrt(total)
    return Estimate(difference, (difference - half, difference + half), degrees + 1)


@dataclass(frozen=True, slots=True)
class Control:
    """A sensor that was worn in all sessions, by its ``label``: its ``values`` of the statistic by
    the path of each session in which it did not lose the heart.
    """

    label: str
    values: Mapping[str, float]

    @staticmethod
    def of(label: str, counted: Iterable[Counted], statistic: Statistic) -> Control:
        """From what counts in an activity."""
        return Control(
            label,
            {
                one.session.path: value
                for one in counted
                if one.sensor.label == label
                and not one.sensor.lost_the_heart
                and (value := statistic.value(one.sensor)) is not None
            },
        )


def compare_unpaired(
    family: Sequence[Different], statistic: Statistic, control: Control | None = None
) -> list[Comparison]:
    """Compare the groups of each; one result for each, in their order."""
    looks = [_look(different, statistic) for different in family]
    tested = [
        exchange_labels(*look.units) if min(map(len, look.units)) >= DIFFERS else None
        for look in looks
    ]
    adjusted = holm(tested)
    found = [_comparison(look, p, statistic) for look, p in zip(looks, adjusted, strict=True)]
    if control is None or not control.values:
        return found
    return [
        replace(one, control=control.label, relative=_relative(look, statistic, control))
        if control.label not in {look.closer.label, look.other.label}
        else one
        for one, look in zip(found, looks, strict=True)
    ]


def holm(p_values: Sequence[float | None]) -> list[float | None]:
    """Adjusted p of each; ``None`` stays and takes no part.

    >>> holm([0.01, None, 0.04])
    [0.02, None, 0.04]
    """
    order = sorted((p, place) for place, p in enumerate(p_values) if p is not None)
    result: list[float | None] = [None] * len(p_values)
    largest = 0.0
    for rank, (p, place) in enumerate(order):
        largest = max(largest, min(1.0, p * (len(order) - rank)))
        result[place] = largest
    return result


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """The two groups in the order that makes the difference of their steady sessions ≥ 0."""

    closer: Variant
    other: Variant
    kind: Kind
    steady: tuple[Variant, Variant]
    units: tuple[FloatArray, FloatArray]


def _look(different: Different, statistic: Statistic) -> _Look:
    groups = [group.that_give(statistic) for group in (different.one, different.other)]
    steady = [group.only(lambda one: not one.sensor.lost_the_heart) for group in groups]
    units = [units_of(statistic.comparable(g.values(statistic)), g.wearers) for g in steady]
    if all(len(each) for each in units) and units[1].mean() < units[0].mean():
        groups, steady, units = groups[::-1], steady[::-1], units[::-1]
    return _Look(groups[0], groups[1], different.kind, (steady[0], steady[1]), (units[0], units[1]))


def _comparison(look: _Look, p: float | None, statistic: Statistic) -> Comparison:
    both = (look.closer, look.other)
    failures = tuple(
        Failures(sum(one.sensor.lost_the_heart for one in group.counted), group.sessions)
        for group in both
    )
    units = [units_of(statistic.comparable(g.values(statistic)), g.wearers) for g in both]
    every = welch(units[0], units[1])
    if any(one.count for one in failures):
        every = Estimate(every.value, None, every.effective_count, WITH_FAILURES)
    steady = welch(*look.units)
    plain = [units_of(group.values(statistic), group.wearers) for group in look.steady]
    confounded = _with_wearers(look.steady[0].wearers, look.steady[1].wearers)
    fewest = min(map(len, look.units))
    return Comparison(
        activity=look.closer.activity,
        kind=look.kind,
        statistic=statistic.key,
        closer=look.closer.name,
        other=look.other.name,
        paired=False,
        sessions=(look.closer.sessions, look.other.sessions),
        steady_sessions=(look.steady[0].sessions, look.steady[1].sessions),
        wearers=len({*look.closer.wearers, *look.other.wearers}),
        about_people=all(is_about_people(group.wearers) for group in look.steady),
        difference=every,
        steady_difference=steady,
        ratio=welch(plain[0], plain[1], logs=True)
        if statistic.scale is Scale.SIZE
        else Estimate.undefined("A ratio is given of sizes of errors."),
        closer_in=None,
        p=p,
        failures=(failures[0], failures[1]),
        standing=standing_of(fewest, DIFFERS, steady, p, confounded),
        confounded=confounded,
        needed=_needed(look.units, steady),
        caution=WEAKER,
    )


def _with_wearers(one: Sequence[str], other: Sequence[str]) -> str:
    """Why the two cannot be told from their wearers; empty if they can.

    With so many wearers in each group that they are the units, wearers are part of the interval;
    with fewer, each must have worn both equally often.
    """
    if is_about_people(one) and is_about_people(other):
        return ""
    first, second = Counter(one), Counter(other)
    if len(first | second) <= 1:
        return ""
    if set(first) != set(second):
        return "not worn by the same wearers, so that wearer and difference are one"
    shares = [abs(first[name] / len(one) - second[name] / len(other)) for name in first]
    if max(shares) > _UNEVEN:
        return "not worn equally often by each wearer, so that the wearers shift the difference"
    return ""


def _relative(look: _Look, statistic: Statistic, control: Control) -> Estimate:
    """How hard a session was is in both of its sensors, and goes with their difference."""
    groups = [g.only(lambda one: one.session.path in control.values) for g in look.steady]
    units = []
    for group in groups:
        beside = np.array([control.values[one.session.path] for one in group.counted], dtype=float)
        excess = statistic.comparable(group.values(statistic)) - statistic.comparable(beside)
        units.append(units_of(excess, group.wearers))
    return welch(units[0], units[1])


_UNEVEN = 0.15
"""Share of the sessions of a wearer may differ by this much: one session of six or seven."""


def _needed(units: tuple[FloatArray, FloatArray], steady: Estimate) -> Needed | None:
    """Sessions of each of the two, as if the groups were equally large."""
    count = min(map(len, units))
    if steady.value is None or count < 2:
        return None
    spread = math.sqrt(sum(float(each.var(ddof=1)) for each in units))
    return still_needed(steady.value, spread, count)
