"""How one instant of a session looks as text: tables, warnings, markers, the state of the file.

Pure: what is known goes in, a rich renderable comes out.  The same pieces serve the full screen
and the tables that stay behind when a session is over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.board.snapshot import Agreement, SensorStatus, SensorWarning, Severity, Snapshot
from analysis.report.words import clock
from live.protocol.alarm import Alarm
from live.protocol.feed import CaptureStatus
from live.protocol.view_model import rules_off
from replay.event import NS_PER_S
from replay.link_state import LinkState
from replay.plan import Plan

INVENTED: Final = "INVENTED DATA: simulated wearers and sensors, no measurement of anyone."

# The Okabe-Ito palette, as bright as the window's dark theme; each colour goes with the shape that
# the window gives it, so that nothing is told by colour alone and both views look alike.
TEST_COLOURS: Final = ("#f0812f", "#3f9fe0", "#1fbf90", "#d98fb8", "#e69f00", "#7cc6f0", "#f0e442")
TEST_SHAPES: Final = ("●", "■", "▲", "◆", "✕", "✚", "★")
PLAIN_SHAPES: Final = ("o", "#", "^", "<", "x", "+", "*")
OUT: Final = "bold #D55E00"
FAINT: Final = "dim"

_SEVERITY_WORDS: Final = {
    Severity.NOTICE: "note",
    Severity.TEST_FAULT: "SENSOR",
    Severity.REFERENCE_FAULT: "REFERENCE",
    Severity.SESSION_FAULT: "SESSION",
}


class Halt(NamedTuple):
    """``words``: stand in place of each link's state once the recording is over unasked or in
    danger, empty while it is not; ``is_stale``: what was last heard is no longer of now.
    """

    words: str = ""
    is_stale: bool = False


NOT_HALTED: Final = Halt()


@dataclass(frozen=True, kw_only=True)
class ScreenState:
    """All that the screen shows.

    ``mode``: live or replay and at what pace, in words.  ``markers``: (t_ns, text), oldest
    first.  ``past``: warnings that have ended, oldest first.  ``note``: answer to the last key.
    ``keys``: what can be pressed.  ``faults``: events that the board of this view could not
    take.  ``plain``: only ASCII signs.  ``alarm``: what stands above everything;
    ``alarm_is_known``: the tester has acknowledged it.  ``halt``: whether and how the recording
    is halted.
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
    plain: bool = False
    alarm: Alarm | None = None
    alarm_is_known: bool = False
    halt: Halt = NOT_HALTED


def signed(value: float, form: str) -> str:
    """A number as text; what rounds to 0 has no sign."""
    text = format(value, form)
    return text if float(text) else text.lstrip("+-")


def screen(state: ScreenState, width: int, height: int) -> RenderableType:
    """The whole screen, cut to ``width`` x ``height`` characters, most needed first."""
    snapshot = state.snapshot
    top: list[RenderableType] = []
    if state.alarm is not None:
        top += alarm_lines(state.alarm, width, is_known=state.alarm_is_known)
    top.append(_header(state, width))
    if snapshot.invented:
        top.append(Text(INVENTED, style="bold reverse", no_wrap=True, overflow="crop"))
    top.append(sensor_table(snapshot, width, plain=state.plain, halt=state.halt))
    used = len(top) + len(snapshot.sensors)
    tests = [sensor for sensor in snapshot.sensors if sensor.windows]
    if tests:
        out_s = snapshot.left_out_s
        table = agreement_table(tests, state.plan, width, plain=state.plain, left_out_s=out_s)
        top.append(table)
        used += len(tests) + 3 + (len(tests) + 1 if out_s else 0)
    bottom = _footer(state)
    room = max(height - used - len(bottom) - 1, 2)
    warnings = warning_lines(snapshot, width, room)
    warnings += past_lines(state.past, snapshot, room - len(warnings))
    filling = max(height - used - len(warnings) - len(bottom), 0)
    return Group(*top, *warnings, *([Text()] * filling), *bottom)


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


def sensor_table(snapshot: Snapshot, width: int, *, plain: bool, halt: Halt = NOT_HALTED) -> Table:
    """One row per sensor: what it says now, and how it is doing."""
    table = Table(box=None, padding=(0, 1, 0, 0), header_style="bold", pad_edge=False)
    table.add_column("sensor", no_wrap=True, min_width=9)
    if width >= 100:
        table.add_column("where", no_wrap=True)
    table.add_column("bpm", justify="right", no_wrap=True, min_width=4)
    table.add_column("differs", justify="right", no_wrap=True)
    table.add_column("is", no_wrap=True, min_width=4)
    table.add_column("link", no_wrap=True, min_width=9)
    table.add_column("contact", no_wrap=True)
    table.add_column("battery", justify="right", no_wrap=True)
    table.add_column("covered", justify="right", no_wrap=True)
    table.add_column("gaps", justify="right", no_wrap=True)
    if width >= 80:
        table.add_column("silent for" if width >= 100 else "silent", justify="right", no_wrap=True)
    if width >= 120:
        table.add_column("per s", justify="right", no_wrap=True)
        table.add_column("signal", justify="right", no_wrap=True)
    if width >= 140:
        table.add_column("model", no_wrap=True, overflow="ellipsis", max_width=18)
        table.add_column("firmware", no_wrap=True, overflow="ellipsis", max_width=12)
    for sensor in snapshot.sensors:
        table.add_row(*_sensor_cells(sensor, snapshot, width, plain, halt))
    return table


def agreement_table(
    tests: Sequence[SensorStatus], plan: Plan, width: int, *, plain: bool, left_out_s: int
) -> RenderableType:
    """Bias, MAE and share within tolerance of each test sensor over each window of time.

    ``left_out_s``: seconds of a faulty reference that the first row leaves out; then the whole
    stands below it.
    """
    names = list(tests[0].windows)
    wide, narrow = width >= 110, width < 90
    table = Table(box=None, padding=(0, 1, 0, 0), header_style="bold", pad_edge=False)
    table.add_column("agreement\nover", no_wrap=True)
    for name in names:
        table.add_column(f"{name}\nbias", justify="right", no_wrap=True)
        table.add_column("\nMAE", justify="right", no_wrap=True, min_width=4)
        table.add_column("\nin %" if narrow else "\ninside", justify="right", no_wrap=True)
        if wide:
            table.add_column("\nr", justify="right", no_wrap=True, min_width=5)
    table.add_column("\npairs", justify="right", no_wrap=True)
    table.add_column("efforts\nf/l/b/m", justify="right", no_wrap=True)
    for sensor in tests:
        rows = [(_named(sensor, tests, plain), sensor.counted, _efforts(sensor), "")]
        if left_out_s:
            rows.append((Text("  whole"), sensor.windows, "", FAINT))
        for head, windows, efforts, style in rows:
            cells = [head]
            for name in names:
                cells += _agreement_cells(windows[name], with_r=wide, narrow=narrow)
            cells += [Text(f"{windows[names[-1]].pairs:,}"), Text(efforts)]
            table.add_row(*cells, style=style)
    inside = "in" if narrow else "inside"
    captions = [_rule(plan, inside, width)]
    if left_out_s:
        out = f"{left_out_s} s left out, the reference at fault; whole: with them"
        captions.insert(0, out)
    lines = [Text(words, style=FAINT, no_wrap=True, overflow="ellipsis") for words in captions]
    return Group(table, *lines)


def _rule(plan: Plan, inside: str, width: int) -> str:
    """What the columns mean, as fully as one line allows."""
    tolerance = f"±{plan.tolerance_bpm:g} bpm or ±{plan.tolerance_percent:g} %"
    efforts = "followed/late/blunted/missed"
    rules = (
        f"bias and mean absolute error in bpm; {inside}: within {tolerance}; efforts {efforts}",
        f"bias and MAE in bpm; {inside}: {tolerance}; {efforts}",
        f"{inside}: {tolerance}; {efforts}",
    )
    return next((rule for rule in rules if len(rule) <= width), rules[-1])


def _efforts(sensor: SensorStatus) -> str:
    """Efforts followed, late, blunted and missed, as ``3/1/0/0``."""
    counts = sensor.efforts
    if counts is None or not counts.judged:
        return ""
    return f"{counts.followed}/{counts.late}/{counts.blunted}/{counts.missed}"


def warning_lines(snapshot: Snapshot, width: int, room: int) -> list[Text]:
    """The standing warnings, most severe first, in at most ``room`` lines."""
    standing = snapshot.open_warnings
    ended = f"{snapshot.closed_warnings} ended" if snapshot.closed_warnings else ""
    if not standing:
        words = "No warning stands" + (f"; {ended}." if ended else ".")
        return [Text(words, style=FAINT)]
    lines = [Text(f"Warnings ({len(standing)} standing{', ' + ended if ended else ''})", "bold")]
    for place, warning in enumerate(standing):
        block = _wrapped(warning_text(warning, snapshot), width)
        left = len(standing) - place
        if len(lines) + len(block) > room - (1 if left > 1 else 0):
            lines.append(Text(f"  … and {left} more", style=FAINT))
            break
        lines += block
    return lines


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


def _header(state: ScreenState, width: int) -> Table:
    grid = Table.grid(expand=True)
    grid.add_column(no_wrap=True, overflow="ellipsis")
    grid.add_column(no_wrap=True, justify="right")
    plan = state.plan
    left = Text.assemble(("Sidebeat  ", "bold"), f"{plan.wearer}, {plan.activity}")
    if width >= 100:
        left.append(f"  {state.title}", style=FAINT)
    time = clock(state.snapshot.t_ns / NS_PER_S)
    grid.add_row(left, Text.assemble((time, "bold"), f"  {state.mode}"))
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
    words = f"{status.events:,} events"
    if status.path:
        words += f", {status.saved:,} saved"
        words += "" if is_stale else f", last commit {status.commit_age_s:.1f} s ago"
    if status.trouble:
        name = f"{status.trouble}  {name}"
    return Text(f"{words}  {name}", style=FAINT, no_wrap=True, overflow="ellipsis")


def _sensor_cells(
    sensor: SensorStatus, snapshot: Snapshot, width: int, plain: bool, halt: Halt
) -> list[Text]:
    """The cells that ``width`` characters have room for, in the order of the table's columns."""
    tests = [other for other in snapshot.sensors if other.role == "test"]
    cells = [_named(sensor, tests, plain)]
    if width >= 100:
        cells.append(Text(sensor.placement))
    cells += [*_value_cells(sensor, halt), *_link_cells(sensor, halt)]
    if width >= 80:
        is_heard = sensor.age_s is None or sensor.age_s < 2 or halt.is_stale
        silent = "" if is_heard else f"{sensor.age_s:.0f} s"
        cells.append(Text(silent, OUT if silent else ""))
    if width >= 120:
        cells.append(Text("" if halt.is_stale else f"{sensor.rate_hz:.1f}"))
        signal = "" if sensor.signal_dbm is None else f"{sensor.signal_dbm} dBm"
        cells.append(Text("" if halt.is_stale else signal))
    if width >= 140:
        cells += [Text(sensor.model), Text(sensor.firmware)]
    return cells


def _value_cells(sensor: SensorStatus, halt: Halt) -> list[Text]:
    """Heart rate, its difference from the reference, and whether that is within tolerance."""
    if halt.is_stale:
        return [Text("–", FAINT), Text(), Text("ref." if sensor.role == "reference" else "", FAINT)]
    fresh = sensor.held_bpm is not None
    differs = "" if sensor.difference_bpm is None else signed(sensor.difference_bpm, "+.0f")
    inside = {None: Text(""), True: Text("in"), False: Text("OUT", OUT)}[sensor.within]
    return [
        Text(
            "–" if sensor.shown_bpm is None else f"{sensor.shown_bpm:.0f}",
            "bold" if fresh else FAINT,
        ),
        Text(differs, OUT if sensor.within is False else ""),
        Text("ref.", FAINT) if sensor.role == "reference" else inside,
    ]


def _link_cells(sensor: SensorStatus, halt: Halt) -> list[Text]:
    """State of the link, contact, battery, coverage and gaps."""
    contact = None if halt.is_stale else sensor.contact
    well = sensor.link.is_up or sensor.link is LinkState.FILE
    battery = "" if sensor.battery_percent is None else f"{sensor.battery_percent} %"
    return [
        Text(halt.words, OUT) if halt.words else Text(sensor.state, "" if well else OUT),
        Text(
            {None: "", True: "yes", False: "NO"}[contact],
            OUT if contact is False else "",
        ),
        Text(battery),
        Text(f"{100 * sensor.coverage:.0f} %"),
        Text(str(sensor.gaps)),
    ]


def _named(sensor: SensorStatus, tests: Sequence[SensorStatus], plain: bool) -> Text:
    if sensor.role == "reference":
        return Text(f"{'=' if plain else '━'} {sensor.label}", "bold")
    if sensor.role != "test":
        return Text(f"{'.' if plain else '·'} {sensor.label}", FAINT)
    place = next(n for n, other in enumerate(tests) if other.number == sensor.number)
    shapes = PLAIN_SHAPES if plain else TEST_SHAPES
    colour = TEST_COLOURS[place % len(TEST_COLOURS)]
    return Text.assemble((shapes[place % len(shapes)], colour), f" {sensor.label}")


def _agreement_cells(agreement: Agreement, *, with_r: bool, narrow: bool) -> list[Text]:
    def number(value: float | None, form: str) -> Text:
        return Text("–", FAINT) if value is None else Text(signed(value, form))

    cells = [number(agreement.bias_bpm, "+.1f"), number(agreement.mae_bpm, ".1f")]
    share = agreement.within_tolerance_percent
    cells.append(
        Text("–", FAINT) if share is None else Text(f"{share:.0f}{'' if narrow else ' %'}")
    )
    if with_r:
        r = number(agreement.pearson_r, ".2f")
        if agreement.r_caution:
            r.stylize(FAINT)
            r.append("?", FAINT)
        cells.append(r)
    return cells


def spaced(renderable: RenderableType) -> Group:
    """With an empty line above, for tables printed one after another."""
    return Group(Text(), renderable)
