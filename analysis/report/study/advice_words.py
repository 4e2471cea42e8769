"""What a study asks of the session that is about to begin, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.report.study.placement_words import line_text
from analysis.report.words import listed
from analysis.study.advice import Advice, FirmwareChange
from analysis.study.study_plan import Filled

SHOWN = 3
"""Open cells that are named; the others are counted."""


def advice_lines(advice: Advice) -> Iterator[str]:
    """One line for each thing; nothing where the study asks nothing."""
    yield from change_lines(advice)
    yield from asking_lines(advice)


def change_lines(advice: Advice) -> Iterator[str]:
    """Firmware that changed before a baseline is complete: a warning each."""
    for change in advice.changes:
        yield _change_line(change)


def asking_lines(advice: Advice) -> Iterator[str]:
    """What the study asks for: the next line, open cells, and what was not counted."""
    if advice.line is not None:
        yield f"The study's wearing plan, next session: {line_text(advice.line)}."
    if advice.open_cells:
        named = "; ".join(_cell_text(one) for one in advice.open_cells[:SHOWN])
        more = len(advice.open_cells) - SHOWN
        yield f"Open in the study: {named}" + (f"; and {more} more." if more > 0 else ".")
    if advice.unread:
        what = "1 capture is" if advice.unread == 1 else f"{advice.unread} captures are"
        yield f"{what} not counted here, being new: 'sidebeat study' reads what is new."


def _change_line(one: FirmwareChange) -> str:
    return (
        f"{one.sensor} has firmware {one.after} now and had {listed(one.before)} in the study, "
        f"with {one.done} of {one.wanted} sessions done: it will not be pooled with those."
    )


def _cell_text(one: Filled) -> str:
    where = f" on the {one.cell.side}" if one.cell.side else ""
    return f"{one.cell.sensor}{where}, {one.done} of {one.cell.sessions} sessions"
