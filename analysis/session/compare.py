"""Two captures read onto one axis of time, ready to be drawn one above the other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from analysis.board import Board
from analysis.board.snapshot import SensorWarning
from analysis.session.offset import Alignment, align, on_common_time
from replay.capture import Capture
from replay.event import NS_PER_S
from replay.text import printable


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One capture.  ``board``: finished, on common time.  ``from_s``, ``to_s``: where it ran.

    ``warnings``: as raised on its own time, moved to the common one: on the board's own account a
    capture that begins later would have been silent until then.
    """

    name: str
    board: Board
    warnings: tuple[SensorWarning, ...]
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Both, in the order in which they were named."""

    alignment: Alignment
    sides: tuple[Side, Side]

    def words(self) -> str:
        """How they were aligned, in one sentence or two."""
        first, second = self.sides
        later = second.from_s - first.from_s
        when = f"{abs(later):.3f} s before" if later else "at the same time as"
        if later > 0:
            when = f"{later:.3f} s after"
        drift = self.alignment.drift_ppm
        pace = (
            "too short to compare the clocks' pace"
            if drift is None
            else f"its clock ran {abs(drift):.1f} ppm {'fast' if drift >= 0 else 'slow'} and is "
            "drawn at the other's pace"
        )
        return (
            f"By UTC, {second.name} began {when} {first.name}; both ran for "
            f"{self.alignment.common_ns / 1e9:.0f} s; {pace}. "
            "How well the two computers agreed on UTC is not known from the captures."
        )


def read_comparison(one: Path, two: Path) -> Comparison:
    """Read both captures.

    Raises as ``Capture.open`` and reading events do, and :class:`~replay.errors.CaptureError` if
    they have no instant in common.
    """
    with Capture.open(one) as first, Capture.open(two) as second:
        alignment = align(first, second)
        names = (one.name, two.name) if one.name != two.name else (str(one), str(two))
        names = (printable(names[0]), printable(names[1]))
        return Comparison(
            alignment,
            (_side(alignment, 0, first, names[0]), _side(alignment, 1, second, names[1])),
        )


def _side(alignment: Alignment, which: int, capture: Capture, name: str) -> Side:
    board, own = Board(capture.plan, hold_ns=0), Board(capture.plan)
    events = list(capture.events())
    for event in events:
        own.feed(event)
    for event in on_common_time(alignment, which, events):
        board.feed(event)
    own.finish(capture.duration_ns)
    end_ns = alignment.to_common(which, capture.duration_ns)
    board.finish(end_ns)
    start_ns = alignment.to_common(which, 0)

    def common(second: int) -> int:
        return round(alignment.to_common(which, second * NS_PER_S) / NS_PER_S)

    warnings = tuple(
        replace(
            one,
            since_s=common(one.since_s),
            start_s=common(one.start_s),
            end_s=None if one.end_s is None else common(one.end_s),
        )
        for one in own.warnings
    )
    return Side(name, board, warnings, start_ns / NS_PER_S, end_ns / NS_PER_S)
