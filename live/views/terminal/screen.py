"""How one instant of a session looks as text: tables, warnings, markers, the state of the file.

Pure: what is known goes in, a rich renderable comes out.  The same pieces serve the full screen
and the tables that stay behind when a session is over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.board.snapshot import SensorWarning, Snapshot
from analysis.report.words import clock, count
from live.protocol.alarm import Alarm
from live.protocol.feed import CaptureStatus
from live.protocol.view_model import late_words, rules_off
from live.protocol.wall_clock import wall_clock
from live.views.terminal.tables import (
    FAINT,
    NOT_HALTED,
    OUT,
    Halt,
    agreement_table,
    sensor_table,
    shown_sensors,
)
from live.views.terminal.warning_lines import alarm_lines, needed_lines, past_lines, warning_lines
from replay.event import NS_PER_S
from replay.plan import Plan

_KEPT_FOR_WARNINGS: Final = 3

INVENTED: Final = "INVENTED DATA: simulated wearers and sensors, no measurement of anyone."


@dataclass(frozen=True, kw_only=True)
class ScreenState:
    """All that the screen shows.

    ``mode``: live or replay and at what pace, in words.  ``markers``: (t_ns, text), oldest
    first.  ``past``: warnings that have ended, oldest first.  ``note``: answer to the last key.
    ``keys``: what can be pressed.  ``faults``: events that the board of this view could not
    take; ``late``: those that nodes sent too late for it.  ``plain``: only ASCII signs.
    ``alarm``: what stands above everything; ``alarm_is_known``: the tester has acknowledged it.
    ``halt``: whether and how the recording is halted.
    """

    title: str
    plan: Plan
    snapshot: Snapshot
    mode: str
    markers: Sequence[tuple[int, str]] = ()
    past: Sequence[SensorWarning] = ()
    status: CaptureStatus | None = None
    note: str = ""
    keys: str = ""
    faults: int = 0
    late: int = 0
    plain: bool = False
    alarm: Alarm | None = None
    alarm_is_known: bool = False
    halt: Halt = NOT_HALTED


def screen(state: ScreenState, width: int, height: int) -> RenderableType:
    """The whole screen, cut to ``width`` x ``height`` characters, most needed first.

    Warnings that stand come before the agreement, with cause and advice until they are known: where
    there is not room for both, the agreement is shorter, or left out.  They come before sensors of
    which nothing is wrong, too.
    """
    snapshot = state.snapshot
    top: list[RenderableType] = []
    if state.alarm is not None:
        top += alarm_lines(state.alarm, width, is_known=state.alarm_is_known)
    top.append(_header(state, width))
    if snapshot.invented:
        top.append(Text(INVENTED, style="bold reverse", no_wrap=True, overflow="crop"))
    bottom = _footer(state)
    room = height - len(top) - len(bottom) - 1
    rows, unseen = shown_sensors(snapshot, state.plan, room - _least_lines(snapshot))
    top.append(
        sensor_table(snapshot, state.plan, width, rows=rows, plain=state.plain, halt=state.halt)
    )
    room -= len(rows)
    if unseen:
        words = f"and {len(unseen)} more: {', '.join(unseen)}"
        top.append(Text(words, style=FAINT, no_wrap=True, overflow="ellipsis"))
        room -= 1
    room = max(room, 0)
    table, lines = _agreement(state, width, room - needed_lines(snapshot, width))
    room -= lines
    warnings = warning_lines(snapshot, width, room)
    warnings += past_lines(state.past, snapshot, room - len(warnings))
    filling = max(room - len(warnings), 0)
    return Group(*top, *table, *warnings, *([Text()] * filling), *bottom)


def _least_lines(snapshot: Snapshot) -> int:
    """Lines that are kept for the warnings, however many sensors there are."""
    return min(max(len(snapshot.open_warnings), 1), _KEPT_FOR_WARNINGS)


def _agreement(state: ScreenState, width: int, room: int) -> tuple[list[RenderableType], int]:
    """As much of the agreement as ``room`` lines hold, and how many it takes."""
    snapshot = state.snapshot
    tests = [sensor for sensor in snapshot.sensors if sensor.windows]
    if not tests:
        return [], 0
    out_s = snapshot.left_out_s
    lines = len(tests) + 3
    whole = len(tests) + 1
    for left_out_s, needed in ((out_s, lines + (whole if out_s else 0)), (0, lines)):
        if needed <= room:
            table = agreement_table(
                tests, state.plan, width, plain=state.plain, left_out_s=left_out_s
            )
            return [table], needed
    return [], 0


def _header(state: ScreenState, width: int) -> Table:
    grid = Table.grid(expand=True)
    grid.add_column(no_wrap=True, overflow="ellipsis")
    grid.add_column(no_wrap=True, justify="right")
    plan = state.plan
    left = Text.assemble(("Sidebeat  ", "bold"), f"{plan.wearer}, {plan.activity}")
    if width >= 100:
        left.append(f"  {state.title}", style=FAINT)
    time = clock(state.snapshot.t_ns / NS_PER_S)
    day = wall_clock(state.snapshot.utc_ns) if width >= 80 else ""
    grid.add_row(left, Text.assemble((time, "bold"), f"  {day}" if day else "", f"  {state.mode}"))
    return grid


def _footer(state: ScreenState) -> list[RenderableType]:
    lines: list[RenderableType] = []
    if state.markers:
        latest = [f"{clock(t_ns / NS_PER_S)} {text}".strip() for t_ns, text in state.markers[-3:]]
        words = f"Markers ({len(state.markers)}): " + "; ".join(latest)
        lines.append(Text(words, no_wrap=True, overflow="ellipsis"))
    if state.status is not None:
        lines.append(status_line(state.status, is_stale=state.halt.is_stale))
    if state.faults:
        words = f"This view could not use {state.faults} event(s); the capture is not affected."
        lines.append(Text(words, style=OUT, no_wrap=True, overflow="ellipsis"))
    if off := rules_off(state.snapshot):
        lines.append(Text(off, style=OUT, no_wrap=True, overflow="ellipsis"))
    if late := late_words(state.late):
        lines.append(Text(late, style=FAINT, no_wrap=True, overflow="ellipsis"))
    lines.append(Text(state.note or state.keys, style="reverse" if state.note else FAINT,
                      no_wrap=True, overflow="ellipsis"))  # fmt: skip
    return lines


def status_line(status: CaptureStatus, *, is_stale: bool = False) -> Text:
    """What the capture says of itself, in one line; a problem of its own first.

    ``is_stale``: it says nothing any more, so that no age is of now.
    """
    if status.problem:
        return Text(f"CAPTURE: {status.problem}", style=OUT, no_wrap=True, overflow="ellipsis")
    name = status.path.replace("\\", "/").rsplit("/", 1)[-1] if status.path else "nothing is saved"
    words = f"{count(status.events)} events"
    if status.path:
        words += f", {count(status.saved)} saved"
        words += "" if is_stale else f", last commit {status.commit_age_s:.1f} s ago"
    if status.trouble:
        name = f"{status.trouble}  {name}"
    return Text(f"{words}  {name}", style=FAINT, no_wrap=True, overflow="ellipsis")


def spaced(renderable: RenderableType) -> Group:
    """With an empty line above, for tables printed one after another."""
    return Group(Text(), renderable)
