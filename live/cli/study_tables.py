"""A study for people: tables, strips of points and sentences, on a console of any kind."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from analysis.report.study.plan_words import plan_lines
from analysis.report.study.published_words import published_sentence
from analysis.report.study.texts import value_text
from analysis.report.study.words import Verdict, verdict_of
from analysis.report.words import INVENTED_LONG, NONE, interval, number
from analysis.statistics.estimate import Estimate
from analysis.study.means import Scale
from analysis.study.published import Published
from analysis.study.sensors import Means, SensorResult
from analysis.study.statistic import (
    BIAS,
    COVERAGE,
    DELAY,
    MAE,
    PEARSON,
    STATISTICS,
    WITHIN,
    Statistic,
)
from analysis.study.study import Activity, Study
from analysis.study.study_plan import StudyPlan

CAUTIONS: Final = (
    "Not a medical device; nothing here is a diagnosis.  The session is the unit, or the wearer "
    "from six wearers on, never the second.  In brackets: 95 % interval; none where any would be "
    "a guess.  within: share of the seconds within the tolerance; lost: sessions in which the "
    "sensor lost the heart."
)
_STRIP: Final = 40
_MOST_APART: Final = 20
"""Lines of sessions set apart that are printed; JSON has them all."""


def study_parts(
    study: Study,
    width: int,
    plan: StudyPlan | None = None,
    published: Sequence[Published] = (),
) -> Iterator[RenderableType]:
    """All that a study says, in order.  ``width``: of the terminal, in signs; ``plan``: its own;
    ``published``: figures without data.
    """
    if study.invented:
        yield Text(INVENTED_LONG, style="bold")
    for one in study.activities:
        yield Text()
        yield Text.assemble((f"{one.name}: ", "bold"), verdict_of(one).head)
        if one.sensors:
            yield _agreement(one)
            yield Text()
            yield _details(one)
            yield Text()
            yield _strips(one, max(min(width - 30, _STRIP), 20))
        yield from _verdict(verdict_of(one))
    yield from _section(
        "Published elsewhere, without data: to be read, not to be ranked",
        [published_sentence(one) for one in published],
    )
    if plan is not None:
        yield from _section("Plan of the study", list(plan_lines(plan, study)))
    yield from _apart(study)
    yield Text()
    yield Text(CAUTIONS, style="dim")


def _verdict(verdict: Verdict) -> Iterator[RenderableType]:
    """The sentences below the tables, one paragraph for each thing that is said."""
    parts = (
        ("Sensors", [" ".join(said) for said in verdict.sensors]),
        ("Comparisons", [*verdict.comparisons, *verdict.order]),
        ("Who was worn where", verdict.arms),
        ("Wearing plan: the next sessions, so that sensor and arm come apart", verdict.plan),
    )
    for title, paragraphs in parts:
        yield from _section(title, paragraphs)


def _section(title: str, paragraphs: Sequence[str]) -> Iterator[RenderableType]:
    if paragraphs:
        yield Text()
        yield Text(title, style="bold")
        yield Group(*(Padding(Text(words), (0, 0, 0, 2)) for words in paragraphs))


def _agreement(one: Activity) -> Table:
    """How close, in the order of the ranking; also without the sessions that are failures."""
    table = _table("sensor", "sessions", "wearers", "MAE, bpm", "within, %", "lost")
    for result in _ranked(one):
        lost = str(result.failures.count)
        table.add_row(
            Text(result.name), str(result.every.sessions), str(result.wearers),
            *_cells(result.every), lost,
        )  # fmt: skip
        steady = result.without_failures
        if steady is not None and steady.sessions:
            name = Text("  where it did not")
            table.add_row(name, str(steady.sessions), "", *_cells(steady), "", style="dim")
    return table


def _cells(means: Means) -> tuple[str, str]:
    return _with_interval(means.of(MAE), 1), _with_interval(means.of(WITHIN), 0)


def _details(one: Activity) -> Table:
    """What else there is of each sensor, over the sessions in which it did not lose the heart."""
    table = _table("sensor", "bias, bpm", "limits, bpm", "r", "delay, s", "coverage, %")
    for result in _ranked(one):
        means, limits = result.steady, NONE
        if means.loa_low.value is not None and means.loa_high.value is not None:
            limits = interval((means.loa_low.value, means.loa_high.value), 1, sign=True)
        table.add_row(
            Text(result.name), _with_interval(means.of(BIAS), 1, signed=True), limits,
            _with_interval(means.of(PEARSON), 2, ends=False),
            _with_interval(means.of(DELAY), 1),
            _with_interval(means.of(COVERAGE), 0, ends=False),
        )  # fmt: skip
    return table


def _table(first: str, *others: str) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), header_style="bold", pad_edge=False)
    table.add_column(first, no_wrap=True)
    for name in others:
        table.add_column(name, justify="right", no_wrap=True)
    return table


def _ranked(one: Activity) -> list[SensorResult]:
    return [one.sensor(place.name) for place in one.ranking.places]


def _with_interval(
    estimate: Estimate, digits: int, *, ends: bool = True, signed: bool = False
) -> str:
    if estimate.value is None or not ends:
        return number(estimate.value, digits, sign=signed)
    return value_text(estimate, digits, signed=signed)


def _strips(one: Activity, width: int) -> Table:
    """Every session as a point on one axis, in the order of the ranking."""
    statistic = next(each for each in STATISTICS if each.key == one.ranking.statistic)
    shown = _ranked(one)
    values = [
        float(v) for result in shown for v in result.variant.that_give(statistic).values(statistic)
    ]
    ends = [end for place in one.ranking.places for end in place.mean.interval or ()]
    low, high = _axis(statistic, values, ends)
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim", pad_edge=False)
    table.add_column("", no_wrap=True)
    unit = f", {statistic.unit}" if statistic.unit else ""
    table.add_column(f"{statistic.words}{unit}, {low:.4g} to {high:.4g}", no_wrap=True)
    for place, result in zip(one.ranking.places, shown, strict=True):
        points = [
            (value, each.sensor.lost_the_heart)
            for each in result.variant.counted
            if (value := statistic.value(each.sensor)) is not None
        ]
        table.add_row(Text(result.name), Text(strip(points, place.mean, low, high, width)))
    table.add_row(
        "", Text("o session  x lost the heart  | mean with its interval ---", style="dim")
    )
    return table


def _axis(
    statistic: Statistic, values: Sequence[float], ends: Sequence[float]
) -> tuple[float, float]:
    """From what the sessions show, with as much of the intervals as doubles it."""
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    reach = max(high - low, 0.1 * abs(high), 0.01)
    low = max(min([low, *ends]), low - reach / 2)
    high = min(max([high, *ends]), high + reach / 2)
    step = 0.01 if high - low < 2 else 1.0
    low, high = step * math.floor(low / step), step * math.ceil(high / step)
    if statistic.scale is Scale.SIZE:
        low = 0.0
    if statistic.scale is Scale.SHARE:
        low, high = max(low, 0.0), min(high, 100.0)
    return low, high


def strip(
    points: Sequence[tuple[float, bool]], mean: Estimate, low: float, high: float, width: int
) -> str:
    """One line of points, each with whether the sensor lost the heart there.

    >>> strip([(0.0, False), (10.0, True)], Estimate(5.0, (4.0, 6.0)), 0.0, 10.0, 11)
    'o   -|-   x'
    """
    signs = [" "] * width

    def place(value: float) -> int:
        share = (value - low) / (high - low)
        return min(max(round(share * (width - 1)), 0), width - 1)

    if mean.interval is not None:
        first, last = map(place, mean.interval)
        signs[first : last + 1] = "-" * (last - first + 1)
    if mean.value is not None:
        signs[place(mean.value)] = "|"
    for value, lost in points:
        at = place(value)
        signs[at] = "x" if lost else ("o" if signs[at] != "x" else "x")
    return "".join(signs)


def _apart(study: Study) -> Iterator[Text]:
    if not study.apart:
        return
    yield Text()
    yield Text("Not pooled with the others", style="bold")
    for one in study.apart[:_MOST_APART]:
        what = f"{one.path}, {one.sensor}" if one.sensor else one.path
        yield Text(f"{what}: {one.reason}")
    if len(study.apart) > _MOST_APART:
        yield Text(f"and {len(study.apart) - _MOST_APART} more: --json has them all")
