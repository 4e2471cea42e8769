"""Faults that stand from the first second, and what is remembered of them after a silence."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from analysis.board.snapshot import WarningKind as K
from replay.channels import decode
from replay.event import Event
from replay.payloads import encode_heart_rate
from tests.standins.session_events import S, of_kind, plan_of, planned, play, strap, stream

PLAN = plan_of(planned("Yarrow", "reference", placement="chest"), planned("Sorrel"))
FAULT_S, BACK_S, END_S = 200, 320, 420


def _rate(t: float) -> float:
    return 120 + 30 * math.sin(t / 40)


def _beats(seed: int, seconds: float = FAULT_S) -> list[float]:
    source, rr = random.Random(seed), []
    while sum(rr[-9:]) == 0 or sum(rr) < seconds:
        rr.append(60 / _rate(sum(rr)) * (1 + source.gauss(0, 0.008)))
    return rr


def _own(start_s: float, end_s: float) -> list[Event]:
    """A good optical sensor: it follows 4 s late, with errors of its own."""
    source = random.Random(8)
    return stream(2, start_s + 0.6, end_s, lambda t: _rate(t - 4) + source.gauss(0, 1))


def _changed(events: list[Event], *, later_s: float = 0.0, factor: float = 1.0, sensor: int = 1):
    out = []
    for event in events:
        reading = decode(event.channel, event.payload)
        rr = [round(one * factor) for one in reading.rr]
        payload = encode_heart_rate(round(reading.bpm), rr=rr)
        out.append(Event(event.t_ns + round(later_s * S), sensor, event.channel, payload))
    return out


def _missing(rr: list[float]) -> list[float]:
    return [
        one + rr[k + 1] if k % 9 == 3 else one
        for k, one in enumerate(rr[:-1])
        if k % 9 != 4
    ]  # fmt: skip


GOOD = strap(_beats(1))
WRIST = _own(0, FAULT_S)
FAULTS: dict[K, tuple[int, float, Callable[[], list[list[Event]]]]] = {
    K.NOT_STARTED: (2, 12, lambda: [GOOD]),
    K.NO_CONTACT: (2, 60, lambda: [GOOD, stream(2, 0.6, FAULT_S, 0)]),
    K.FROZEN: (2, 90, lambda: [GOOD, stream(2, 0.6, FAULT_S, 121)]),
    K.LOOSE_REFERENCE: (1, 20, lambda: [strap(_missing(_beats(1))), WRIST]),
    K.RELAY: (2, 30, lambda: [GOOD, _changed(GOOD, later_s=0.45, sensor=2)]),
    K.SAME_SENSOR: (2, 40, lambda: [GOOD, _changed(GOOD, later_s=0.004, sensor=2)]),
    K.UNIT_SLIP: (1, 130, lambda: [_changed(GOOD, factor=1.024), WRIST]),
}


@pytest.mark.parametrize("kind", FAULTS)
def test_a_fault_from_the_first_second_is_told_and_forgotten_over_a_silence(kind) -> None:
    """It is told in its time; after two minutes of silence good sensors are not called so."""
    sensor, within_s, made = FAULTS[kind]
    streams = made()
    after = strap(_beats(3, 100), start_s=BACK_S)
    board = play(PLAN, *streams, after, _own(BACK_S, END_S), until_s=END_S)
    warnings = of_kind(board, kind, sensor)
    assert warnings, [(w.kind.value, w.sensor, w.start_s) for w in board.warnings]
    assert warnings[0].start_s <= within_s
    assert all(w.start_s < BACK_S and w.end_s is not None for w in warnings)


def test_without_a_fault_none_of_these_is_told() -> None:
    """The same two sensors, sound, draw none of these warnings."""
    board = play(PLAN, GOOD, WRIST, until_s=FAULT_S)
    assert [w for w in board.warnings if w.kind in FAULTS] == []
