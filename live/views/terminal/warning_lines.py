"""Warnings and alarms of the terminal view, as lines; what stands is never hidden."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.text import Text

from analysis.board.snapshot import SensorWarning, Severity, Snapshot
from analysis.report.words import clock
from live.protocol.alarm import Alarm
from live.views.terminal.tables import FAINT, OUT

_SEVERITY_WORDS: Final = {
    Severity.NOTICE: "note",
    Severity.TEST_FAULT: "SENSOR",
    Severity.REFERENCE_FAULT: "REFERENCE",
    Severity.SESSION_FAULT: "SESSION",
}


def alarm_lines(alarm: Alarm, width: int, *, is_known: bool = False) -> list[Text]:
    """The loudest block there is: every line filled to the full width, once known only framed."""
    known = " (known)" if is_known else ""
    words = [f"{alarm.headline}{known}", alarm.sentence, f"Do: {alarm.advice}"]
    lines = [line for text in words for line in _wrapped(Text(text), width - 4)]
    edge = "=" if is_known else "!"
    style = "bold" if is_known else "bold reverse"
    filled = [Text(edge * width, style=style)]
    for place, line in enumerate(lines):
        said = line.plain.rstrip()
        inner = said.center(width - 4) if place == 0 else said.ljust(width - 4)
        filled.append(Text(f"{edge} {inner} {edge}", style=style, no_wrap=True, overflow="crop"))
    filled.append(Text(edge * width, style=style))
    return filled


def needed_lines(snapshot: Snapshot, width: int) -> int:
    """Lines in which all is said that stands: cause and advice until it is known."""
    standing = snapshot.open_warnings
    blocks = [
        len(_wrapped(warning_text(one, snapshot), width)) if one.acknowledged_s is None else 1
        for one in standing
    ]
    return 1 + sum(blocks) if standing else 1


def warning_lines(snapshot: Snapshot, width: int, room: int) -> list[Text]:
    """The standing warnings, most severe first, in at most ``room`` lines, but in one at least.

    Each has a line of its own where there are lines enough, and cause and advice as far as the
    rest reaches; where there are fewer lines than warnings, the last line names all others.
    """
    standing = snapshot.open_warnings
    ended = f"{snapshot.closed_warnings} ended" if snapshot.closed_warnings else ""
    if not standing:
        words = "No warning stands" + (f"; {ended}." if ended else ".")
        return [Text(words, style=FAINT)]
    room = max(room, 1)
    lines = []
    if room > len(standing):
        more = f", {ended}" if ended else ""
        lines = [Text(f"Warnings ({len(standing)} standing{more})", "bold")]
    for place, warning in enumerate(standing):
        behind = len(standing) - place - 1
        if behind and len(lines) + 1 == room:
            lines.append(_named_only(standing[place:], snapshot))
            break
        block = _wrapped(warning_text(warning, snapshot), width)
        if len(lines) + len(block) + behind > room:
            short = warning_text(warning, snapshot)
            short.no_wrap, short.overflow = True, "ellipsis"
            block = [short]
        lines += block
    return lines


def _named_only(warnings: Sequence[SensorWarning], snapshot: Snapshot) -> Text:
    """Several warnings in one line, by sensor and kind."""
    names = [f"{_label(snapshot, one.sensor)}{one.kind.value}" for one in warnings]
    words = f"!! {len(names)}: {'; '.join(names)}"
    return Text(words, style=OUT, no_wrap=True, overflow="ellipsis")


def past_lines(past: Sequence[SensorWarning], snapshot: Snapshot, room: int) -> list[Text]:
    """The newest of the warnings that have ended, newest first, one line each."""
    lines = []
    for warning in reversed(past[-max(room, 0) :] if room > 0 else ()):
        span = f"{clock(warning.since_s)} to {clock(warning.end_s or 0)}"
        words = f"   over: {_label(snapshot, warning.sensor)}{warning.kind.value}, {span}.  "
        lines.append(Text(words + warning.cleared, style=FAINT, no_wrap=True, overflow="ellipsis"))
    return lines


def warning_text(warning: SensorWarning, snapshot: Snapshot) -> Text:
    """A warning in one paragraph: how grave, whose, since when, why, and what to do."""
    grave = warning.severity >= Severity.REFERENCE_FAULT
    known = warning.acknowledged_s is not None
    text = Text(style=FAINT if known else "")
    sign = "   " if known else f"{'!!' if grave else '! '} "
    loud = "" if known else OUT if grave else "bold"
    text.append(sign, style=loud)
    text.append(f"{_SEVERITY_WORDS[warning.severity]} ", style=loud)
    text.append(f"{_label(snapshot, warning.sensor)}{warning.kind.value}", style=loud and "bold")
    span = f"since {clock(warning.since_s)}"
    if warning.end_s is not None:
        span = f"{clock(warning.since_s)} to {clock(warning.end_s)}"
    if warning.acknowledged_s is not None:
        span += f", acknowledged at {clock(warning.acknowledged_s)}"
    text.append(f", {span}.  {warning.cause}  ")
    text.append(f"Do: {warning.advice}", style="italic")
    return text


def _label(snapshot: Snapshot, number: int) -> str:
    return f"{snapshot.sensors[number - 1].label}: " if number else ""


def _wrapped(text: Text, width: int) -> list[Text]:
    from rich.console import Console  # noqa: PLC0415 - only to break lines

    return list(text.wrap(Console(width=width), max(width - 1, 20)))
