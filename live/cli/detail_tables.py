"""The session in detail for people: delays, efforts, phases and zones, on a console of any kind."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.report import words
from analysis.session.detail import NO_EFFORTS
from analysis.session.pipeline import SessionNumbers
from analysis.statistics.efforts import Answer, Kind, share_of
from analysis.statistics.estimate import Estimate
from live.views.terminal.screen import spaced

_OTHERS: Final = (Answer.LATE, Answer.BLUNTED, Answer.MISSED, Answer.UNSEEN)


def detail_parts(numbers: SessionNumbers) -> Iterator[RenderableType]:
    """The pieces, in order; all without what is excluded."""
    yield spaced(Group(Text("Delay", style="bold"), *_delays(numbers)))
    yield spaced(Group(Text("Efforts", style="bold"), *_efforts(numbers)))
    yield spaced(Group(Text("By phase and by zone", style="bold"), _phases(numbers)))


def verdict_text(sentences: list[str]) -> RenderableType:
    """The verdict, a sentence a paragraph."""
    return spaced(Group(*(Text(sentence) for sentence in sentences)))


def _delays(numbers: SessionNumbers) -> Iterator[RenderableType]:
    table = _table("sensor", "delay, s", "MAE without the delay, bpm")
    for detail in numbers.detail.sensors:
        after = detail.without_delay
        table.add_row(
            Text(detail.series.sensor.label),
            _with_interval(detail.delay, 1),
            words.NONE if after is None else _with_interval(after.mae, 1),
        )
    yield table
    for detail in numbers.detail.sensors:
        if detail.delay.caution:
            yield Text(f"{detail.series.sensor.label}: {detail.delay.caution}", style="italic")


def _efforts(numbers: SessionNumbers) -> Iterator[RenderableType]:
    efforts = numbers.detail.efforts
    if not efforts:
        yield Text(NO_EFFORTS)
        return
    table = _table("sensor", "followed", *(answer.value for answer in _OTHERS), "troughs followed")
    for detail in numbers.detail.sensors:
        answers = detail.answers(efforts, Kind.EFFORT)
        table.add_row(
            Text(detail.series.sensor.label),
            _followed(answers),
            *(str(sum(found is answer for found in answers)) for answer in _OTHERS),
            _followed(detail.answers(efforts, Kind.TROUGH)),
        )
    yield table


def _phases(numbers: SessionNumbers) -> Table:
    table = _table("part", "pairs", "bias, bpm", "MAE, bpm", "inside, %")
    for detail in numbers.detail.sensors:
        table.add_row(Text(detail.series.sensor.label, style="bold"))
        for name, part in {**detail.phases, **detail.zones}.items():
            table.add_row(
                name,
                f"{part.pairs:,}",
                _with_interval(part.bias, 1, sign=True),
                _with_interval(part.mae, 1),
                _with_interval(part.within, 0),
            )
    return table


def _followed(answers: list[Answer]) -> str:
    share = share_of(answers, Answer.FOLLOWED)
    if share.interval is None:
        return words.NONE
    judged = [answer for answer in answers if answer is not Answer.UNSEEN]
    followed = sum(answer is Answer.FOLLOWED for answer in judged)
    low, high = (100 * end for end in share.interval)
    return f"{followed} of {len(judged)} ({low:.0f} to {high:.0f} %)"


def _with_interval(estimate: Estimate, digits: int, *, sign: bool = False) -> str:
    value = words.number(estimate.value, digits, sign=sign)
    if estimate.value is None:
        return value
    ends = words.interval(estimate.interval, digits, sign=sign) or "none"
    return f"{value} ({ends})"


def _table(*columns: str) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), header_style="bold", pad_edge=False)
    for place, name in enumerate(columns):
        table.add_column(name, justify="left" if place == 0 else "right")
    return table
