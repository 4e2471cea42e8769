"""What the warning rules cost: the board over a long session, with and without them.

Run ``python -m benchmarks.bench_board``.  Six simulated sensors; the events are made beforehand.
They are fed to a board without any rules and to one with all; to one that has RR from a second
sensor, whose beats it compares with the strap's; to one whose snapshot is taken ten times a second
of this computer's time, as by a view that plays them flat out; and to one whose snapshot is taken
about twice a second of the session, as in a live one.  Each is asked for the agreement at the end.
Processor time of this process, reading the file not included; what counts is the ratio to the board
without rules.
"""

from __future__ import annotations

import argparse
import gc
import random
import time
from collections.abc import Callable
from enum import Enum
from typing import Final

from analysis.board import Board
from live.simulated import simulate
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.payloads.heart_rate import decode_heart_rate, encode_heart_rate
from replay.plan import Plan, PlannedSensor

SENSORS = (
    ("Yarrow", "reference", "chest", "strap"),
    ("Sorrel", "test", "left wrist", "wrist"),
    ("Tansy", "test", "right wrist", "wrist"),
    ("Bracken", "test", "upper arm", "arm"),
    ("Clover", "test", "forearm", "arm"),
    ("Fennel", "test", "left wrist", "wrist"),
)


def _plan(activity: str) -> Plan:
    return Plan(
        wearer="W1",
        activity=activity,
        sensors=tuple(
            PlannedSensor(
                label=label, role=role, placement=placement, source="simulated", kind=kind
            )
            for label, role, placement, kind in SENSORS
        ),
        invented=True,
    )


class _Snapshots(Enum):
    """When one is taken."""

    AT_END = "at the end"
    OF_VIEW = "as by a view that plays it"
    OF_SESSION = "as in a live session"


_STRAP, _ARM = 1, 4
_PICTURE_S: Final = 0.1
_EVENTS: Final = 3
"""Of six sensors, between two of the snapshots of a live session."""


def _fed(board: Board, events: list[Event], snapshots: _Snapshots) -> Board:
    due_s = time.perf_counter() + _PICTURE_S
    for number, event in enumerate(events):
        board.feed(event)
        if number % _EVENTS or snapshots is _Snapshots.AT_END:
            continue
        if snapshots is _Snapshots.OF_SESSION:
            _looked_at(board)
        elif time.perf_counter() >= due_s:
            _looked_at(board)
            due_s += _PICTURE_S
    board.finish(events[-1].t_ns)
    _looked_at(board)
    return board


def _with_beats(events: list[Event]) -> list[Event]:
    """The same, with RR on one arm as well: the strap's, give or take some ms."""
    source, told = random.Random(1), []
    rr: tuple[int, ...] = ()
    for event in events:
        if event.channel == HEART_RATE and event.sensor == _STRAP:
            rr = decode_heart_rate(event.payload).rr
        elif event.channel == HEART_RATE and event.sensor == _ARM:
            bpm = round(decode_heart_rate(event.payload).mbpm / 1000)
            near = [max(1, one + source.randint(-8, 8)) for one in rr]
            event = event._replace(payload=encode_heart_rate(bpm, rr=near))  # noqa: PLW2901 - the same one
        told.append(event)
    return told


def _looked_at(board: Board) -> None:
    """All agreements, as a view shows them."""
    for sensor in board.snapshot().sensors:
        dict(sensor.windows)


def _least_s(
    make: Callable[[], Board], events: list[Event], snapshots: _Snapshots, rounds: int
) -> float:
    """The least of some rounds: other programs only ever add."""
    spent = []
    for _ in range(rounds):
        start = time.process_time()
        _fed(make(), events, snapshots)
        spent.append(time.process_time() - start)
    return min(spent)


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--hours", type=float, default=4.0, help="length of the session")
    parser.add_argument("--rounds", type=int, default=3, help="the quickest of so many counts")
    options = parser.parse_args(arguments)
    plan = _plan("rowing ergometer")
    length_s = options.hours * 3600
    events = list(simulate(plan, length_s))
    warnings = len(_fed(Board(plan), events, _Snapshots.AT_END).warnings)
    print(f"{len(events)} events, {events[-1].t_ns / NS_PER_S / 3600:.2f} h, {warnings} warnings")
    gc.collect()
    gc.freeze()  # the list of events would be searched again and again
    beside = _with_beats(events)
    rows: tuple[tuple[str, Callable[[], Board], list[Event], _Snapshots], ...] = (
        ("without rules", lambda: Board(plan, lambda _: []), events, _Snapshots.AT_END),
        ("with all rules", lambda: Board(plan), events, _Snapshots.AT_END),
        ("and a second sensor's RR", lambda: Board(plan), beside, _Snapshots.AT_END),
        ("or 10 snapshots a second of ours", lambda: Board(plan), events, _Snapshots.OF_VIEW),
        ("or about 2 a second of its own", lambda: Board(plan), events, _Snapshots.OF_SESSION),
    )
    bare = 0.0
    for name, make, given, snapshots in rows:
        spent = _least_s(make, given, snapshots, options.rounds)
        bare = bare or spent
        print(
            f"{name:34} {spent:6.2f} s  {length_s / spent:7.0f} x life  ratio {spent / bare:5.1f}"
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
