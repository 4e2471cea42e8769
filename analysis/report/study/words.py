"""What a study says of its sensors, in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from analysis.report.study.comparison_words import comparison_sentence
from analysis.report.study.placement_words import arm_sentences, plan_sentences
from analysis.report.study.texts import of_sessions, sessions_text, value_text, wearers_text
from analysis.report.words import number
from analysis.study.comparison import Comparison, Kind
from analysis.study.failures import Failures
from analysis.study.ranking import Ranking
from analysis.study.sensors import SensorResult
from analysis.study.statistic import BIAS, MAE, WITHIN
from analysis.study.study import Activity
from analysis.study.thresholds import DESCRIBE, NO_FAILURES, RANK

BOTH_SIDES: Final = 1 / 3
MOSTLY: Final = 2 / 3
"""Of the MAE that the bias makes up: below the first errors lie on both sides and cancel in the
bias, above the second they lie mostly on one."""
WORTH_A_WORD_BPM: Final = 2.0
"""MAE from which it is worth saying on which side the errors lie."""
LATE_START_S: Final = 120
"""Seconds without a first value from which a sensor is said to have begun in mid-session."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is said of one activity: how many sessions, each sensor, each comparison, the order,
    who was worn where, and the wearing plan.  Each of ``sensors`` is the sentences about one.
    """

    head: str
    sensors: tuple[tuple[str, ...], ...]
    comparisons: tuple[str, ...]
    order: tuple[str, ...]
    arms: tuple[str, ...]
    plan: tuple[str, ...]

    @property
    def sentences(self) -> list[str]:
        """All of them but the plan, in order."""
        of_sensors = [sentence for said in self.sensors for sentence in said]
        return [self.head, *of_sensors, *self.comparisons, *self.order, *self.arms]


def verdict_of(one: Activity) -> Verdict:
    """All that is said of one activity; claims come before what is not settled."""
    enough = len(one.sessions) >= DESCRIBE
    comparisons = [each for each in one.comparisons if enough and _is_worth_a_word(each)]
    comparisons.sort(key=lambda each: (not each.differs, each.kind is Kind.ARMS))
    return Verdict(
        head=_head(one),
        sensors=tuple(tuple(sensor_sentences(one.sensor(p.name))) for p in one.ranking.places),
        comparisons=tuple(map(comparison_sentence, comparisons)),
        order=tuple(ranking_sentences(one.ranking)) if enough else (),
        arms=tuple(arm_sentences(one)),
        plan=tuple(plan_sentences(one)),
    )


def _is_worth_a_word(one: Comparison) -> bool:
    """The two sides of one sensor are, once there are some sessions of each."""
    return one.kind is not Kind.ARMS or min(one.sessions) >= DESCRIBE


def _head(one: Activity) -> str:
    wearers = sorted({row.wearer for row in one.sessions})
    count = len(one.sessions)
    text = f"{sessions_text(count)} of {wearers_text(len(wearers))}."
    if count < DESCRIBE:
        return text + f" With fewer than {DESCRIBE} they are shown, and nothing is claimed."
    if not any(result.about_people for result in one.sensors):
        text += f" All that is said holds for these wearers ({', '.join(wearers)}), not for people."
    return text


def sensor_sentences(result: SensorResult) -> list[str]:
    """What one sensor did in one activity."""
    every = result.every
    said = [
        f"{result.name}: MAE {value_text(every.of(MAE), 1)} bpm, within tolerance in "
        f"{value_text(every.of(WITHIN), 0)} % of the seconds.",
        failure_sentence(result.failures),
    ]
    if result.without_failures is not None and result.without_failures.sessions:
        steady = result.without_failures
        said.append(
            f"In the {sessions_text(steady.sessions)} in which it did not, MAE "
            f"{value_text(steady.of(MAE), 1)} bpm."
        )
    return [*said, *_sides(result), *_slope(result), *_efforts(result), *_late_starts(result)]


def failure_sentence(failures: Failures) -> str:
    """How often a sensor lost the heart, and how often it may."""
    count, sessions = failures.count, failures.sessions
    if count:
        low, high = failures.interval or (0.0, 1.0)
        return (
            f"It lost the heart in {of_sessions(count, sessions)} "
            f"({100 * low:.0f} to {100 * high:.0f} % of such sessions)."
        )
    most = 100 * (failures.at_most or 1)
    if sessions < NO_FAILURES:
        return (
            f"It did not lose the heart; {sessions_text(sessions)} cannot speak of failures (up to "
            f"{most:.0f} % are possible)."
        )
    return (
        f"It did not lose the heart in {sessions_text(sessions)}: at most {most:.0f} % of such "
        "sessions are failures (one-sided 95 %)."
    )


def _sides(result: SensorResult) -> Iterator[str]:
    bias, mae = result.every.of(BIAS).value, result.every.of(MAE).value
    if bias is None or mae is None or mae < WORTH_A_WORD_BPM or result.every.sessions < DESCRIBE:
        return
    if abs(bias) < BOTH_SIDES * mae:
        yield (
            f"Its errors lie on both sides: its bias of {number(bias, 1, sign=True)} bpm "
            f"alone would hide an MAE of {mae:.1f} bpm."
        )
    elif abs(bias) > MOSTLY * mae:
        side = "low" if bias < 0 else "high"
        yield f"Its errors are mostly {side}: bias {number(bias, 1, sign=True)} bpm."


def _slope(result: SensorResult) -> Iterator[str]:
    values = [one.sensor.slope for one in result.variant.counted if one.sensor.slope is not None]
    if len(values) < 2 or not all(value * values[0] > 0 for value in values):
        return
    mean = sum(values) / len(values)
    if abs(mean) < STEEP:
        return
    sign, reads = ("negative", "low") if mean < 0 else ("positive", "high")
    yield (
        f"It has {sign} proportional bias in all {sessions_text(len(values))}: it reads {reads} at "
        f"high rates ({number(10 * mean, 1, sign=True)} bpm per 10 bpm)."
    )


STEEP: Final = 0.05
"""Slope from which proportional bias is worth a word: 5 bpm over a range of 100 bpm."""


def _efforts(result: SensorResult) -> Iterator[str]:
    if result.judged:
        yield (
            f"It followed {result.followed} of {result.judged} efforts; {result.late} late, "
            f"{result.blunted} blunted, {result.missed} missed."
        )


def _late_starts(result: SensorResult) -> Iterator[str]:
    late = [
        one.sensor.late_start_s
        for one in result.variant.counted
        if one.sensor.late_start_s >= LATE_START_S
    ]
    if late:
        yield (
            f"It had no value for the first {max(late) / 60:.0f} min in "
            f"{of_sessions(len(late), result.every.sessions)}: coverage lost, not error."
        )


def ranking_sentences(ranking: Ranking) -> Iterator[str]:
    """Whether the order is a ranking, and what cannot be separated."""
    if len(ranking.places) < 2:
        return
    if not ranking.is_claimed:
        yield f"The order is a view: no ranking is claimed below {RANK} sessions of each sensor."
    for group in ranking.groups:
        yield f"Not separated: {', '.join(group)}."
