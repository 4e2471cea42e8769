"""The tables of the terminal view: what each sensor says now, and how well each has agreed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.board.snapshot import Agreement, SensorStatus, Snapshot, is_few
from analysis.report.words import count, share_text
from replay.link_state import LinkState
from replay.plan import Plan
from replay.signs import COLOURS, SHAPES, signs_of

# By replay.signs, as bright as the window's dark theme; each colour goes with the shape that the
# window gives it, so that nothing is told by colour alone and both views look alike.
TEST_COLOURS: Final = ("#dd93bd", "#f4883a", "#8fd0f5", "#22bd90", "#efe45a", "#62a8e8", "#e8a813")
TEST_SHAPES: Final = ("◆", "●", "▲", "■", "★", "✚", "◗", "✕")
PLAIN_SHAPES: Final = ("<", "o", "^", "#", "*", "+", "D", "x")
OUT: Final = "bold #D55E00"
FAINT: Final = "dim"


_SMALL: Final = 80
"""Below so many signs in a line words are shorter and the agreement is that of two windows."""


class Halt(NamedTuple):
    """``words``: stand in place of each link's state once the recording is over unasked or in
    danger, empty while it is not; ``is_stale``: what was last heard is no longer of now.
    """

    words: str = ""
    is_stale: bool = False


NOT_HALTED: Final = Halt()


def signed(value: float, form: str) -> str:
    """A number as text; what rounds to 0 has no sign."""
    text = format(value, form)
    return text if float(text) else text.lstrip("+-")


def shown_sensors(snapshot: Snapshot, plan: Plan, room: int) -> tuple[list[int], list[str]]:
    """Numbers of the sensors that ``room`` lines show, in their order, and the labels of the rest.

    Where there is not room for all, the reference stays, and those of which something is wrong; one
    line is left for the names of the others.
    """
    order = list(plan.shown_order)
    if len(order) <= room:
        return order, []
    warned = {warning.sensor for warning in snapshot.open_warnings}

    def rank(number: int) -> int:
        sensor = snapshot.sensors[number - 1]
        if sensor.role == "reference":
            return 0
        if number in warned:
            return 1
        return 2 if sensor.within is False or sensor.held_bpm is None else 3

    kept = set(sorted(order, key=rank)[: max(room - 1, 1)])
    unseen = [snapshot.sensors[number - 1].label for number in order if number not in kept]
    return [number for number in order if number in kept], unseen


def sensor_table(
    snapshot: Snapshot,
    plan: Plan,
    width: int,
    *,
    plain: bool,
    rows: Sequence[int] | None = None,
    halt: Halt = NOT_HALTED,
) -> Table:
    """One row per sensor, the reference's first: what it says now, and how it is doing.

    A value in brackets is old: its sensor has none now.  ``rows``: numbers of the sensors that are
    shown, all by default.
    """
    table = Table(box=None, padding=(0, 1, 0, 0), header_style="bold", pad_edge=False)
    small = width < _SMALL
    table.add_column("sensor", no_wrap=True, min_width=9)
    if width >= 100:
        table.add_column("where", no_wrap=True)
    table.add_column("bpm", justify="right", no_wrap=True, min_width=4)
    table.add_column("diff" if small else "differs", justify="right", no_wrap=True)
    table.add_column("is", no_wrap=True, min_width=4)
    table.add_column("link", no_wrap=True, min_width=9)
    table.add_column("contact", no_wrap=True)
    table.add_column("batt" if small else "battery", justify="right", no_wrap=True)
    table.add_column("cover" if small else "covered", justify="right", no_wrap=True)
    table.add_column("gaps", justify="right", no_wrap=True)
    if width >= 80:
        table.add_column("silent for" if width >= 100 else "silent", justify="right", no_wrap=True)
    if width >= 120:
        table.add_column("per s", justify="right", no_wrap=True)
        table.add_column("signal", justify="right", no_wrap=True)
    if width >= 140:
        table.add_column("model", no_wrap=True, overflow="ellipsis", max_width=18)
        table.add_column("firmware", no_wrap=True, overflow="ellipsis", max_width=12)
    for number in plan.shown_order if rows is None else rows:
        table.add_row(*_sensor_cells(snapshot.sensors[number - 1], plan, width, plain, halt))
    return table


def agreement_table(
    tests: Sequence[SensorStatus], plan: Plan, width: int, *, plain: bool, left_out_s: int
) -> RenderableType:
    """Bias, MAE and share within tolerance of each test sensor over each window of time; over the
    shortest and the longest alone where a number would be cut otherwise.

    ``left_out_s``: seconds of a faulty reference that the first row leaves out; then the whole
    stands below it.
    """
    names = list(tests[0].windows)
    if width < _SMALL:
        names = [names[0], names[-1]]
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
        rows = [(_named(sensor, plan, plain), sensor.counted, _efforts(sensor), "")]
        if left_out_s:
            rows.append((Text("  whole"), sensor.windows, "", FAINT))
        for head, windows, efforts, style in rows:
            cells = [head]
            for name in names:
                cells += _agreement_cells(windows[name], with_r=wide, narrow=narrow)
            cells += [Text(count(windows[names[-1]].pairs)), Text(efforts)]
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


def _sensor_cells(
    sensor: SensorStatus, plan: Plan, width: int, plain: bool, halt: Halt
) -> list[Text]:
    """The cells that ``width`` characters have room for, in the order of the table's columns."""
    cells = [_named(sensor, plan, plain)]
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
        Text(_value(sensor), "bold" if fresh else FAINT),
        Text(differs, OUT if sensor.within is False else ""),
        Text("ref.", FAINT) if sensor.role == "reference" else inside,
    ]


def _value(sensor: SensorStatus) -> str:
    if sensor.shown_bpm is None:
        return "–"
    value = f"{sensor.shown_bpm:.0f}"
    return f"({value})" if sensor.held_bpm is None else value


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
        Text(f"{share_text(100 * sensor.coverage)} %"),
        Text(str(sensor.gaps)),
    ]


def _named(sensor: SensorStatus, plan: Plan, plain: bool) -> Text:
    if sensor.role == "reference":
        return Text(f"{'=' if plain else '━'} {sensor.label}", "bold")
    if sensor.role != "test":
        return Text(f"{'.' if plain else '·'} {sensor.label}", FAINT)
    sign = signs_of(plan.sensors)[sensor.number - 1] - 1
    shape = (PLAIN_SHAPES if plain else TEST_SHAPES)[sign % SHAPES]
    return Text.assemble((shape, TEST_COLOURS[sign % COLOURS]), f" {sensor.label}")


def _agreement_cells(agreement: Agreement, *, with_r: bool, narrow: bool) -> list[Text]:
    def number(value: float | None, form: str) -> Text:
        return Text("–", FAINT) if value is None else Text(signed(value, form))

    cells = [number(agreement.bias_bpm, "+.1f"), number(agreement.mae_bpm, ".1f")]
    share = None if is_few(agreement) else agreement.within_tolerance_percent
    unit = "" if narrow else " %"
    cells.append(Text("–", FAINT) if share is None else Text(f"{share_text(share)}{unit}"))
    if with_r:
        r = number(None if is_few(agreement) else agreement.pearson_r, ".2f")
        if agreement.r_caution and not is_few(agreement):
            r.stylize(FAINT)
            r.append("?", FAINT)
        cells.append(r)
    return cells
