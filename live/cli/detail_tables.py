"""The session in detail for people: delays, efforts, phases and zones, on a console of any kind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.report import words
from analysis.report.words import count
from analysis.session.record import NO_EFFORTS, SessionRecord, Tally
from analysis.statistics.efforts import Answer
from live.cli.agreement_tables import with_interval
from live.views.terminal.screen import spaced

_OTHERS: Final = (Answer.LATE, Answer.BLUNTED, Answer.MISSED, Answer.UNSEEN)


def detail_parts(record: SessionRecord) -> Iterator[RenderableType]:
    """The pieces, in order; all without what is excluded."""
    yield spaced(Group(Text("Delay", style="bold"), *_delays(record)))
    yield spaced(Group(Text("Efforts", style="bold"), *_efforts(record)))
    yield spaced(Group(Text("By phase, zone and section", style="bold"), _phases(record)))


def verdict_text(sentences: Sequence[str]) -> RenderableType:
    """The verdict, a sentence a paragraph."""
    return spaced(Group(*(Text(sentence) for sentence in sentences)))


def _delays(record: SessionRecord) -> Iterator[RenderableType]:
    table = _table("sensor", "delay, s", "MAE without the delay, bpm")
    for detail in record.sensors:
        after = detail.without_delay
        table.add_row(
            Text(detail.label),
            with_interval(detail.delay, 1),
            words.NONE if after is None else with_interval(after.mae, 1),
        )
    yield table
    for detail in record.sensors:
        if detail.delay.caution:
            yield Text(f"{detail.label}: {detail.delay.caution}", style="italic")


def _efforts(record: SessionRecord) -> Iterator[RenderableType]:
    if not record.efforts:
        yield Text(NO_EFFORTS)
        return
    table = _table("sensor", "followed", *(answer.value for answer in _OTHERS), "troughs followed")
    for detail in record.sensors:
        table.add_row(
            Text(detail.label),
            _followed(detail.efforts),
            *(str(detail.efforts.of(answer)) for answer in _OTHERS),
            _followed(detail.troughs),
        )
    yield table


def _phases(record: SessionRecord) -> Table:
    table = _table("part", "pairs", "bias, bpm", "MAE, bpm", "inside, %")
    for detail in record.sensors:
        table.add_row(Text(detail.label, style="bold"))
        for part in (*detail.phases, *detail.zones, *detail.sections):
            found = part.agreement
            table.add_row(
                Text(part.name),
                count(found.pairs),
                with_interval(found.bias, 1, sign=True),
                with_interval(found.mae, 1),
                with_interval(found.within, 0),
            )
    return table


def _followed(tally: Tally) -> str:
    interval = tally.followed.share.interval
    if interval is None:
        return words.NONE
    low, high = (100 * end for end in interval)
    return f"{tally.followed.count} of {tally.judged} ({low:.0f} to {high:.0f} %)"


def _table(*columns: str) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), header_style="bold", pad_edge=False)
    for place, name in enumerate(columns):
        table.add_column(name, justify="left" if place == 0 else "right")
    return table
