"""Hand-written streams of events for the board, and a way to play them."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from itertools import chain
from operator import itemgetter
from random import Random
from typing import Any

from analysis.board import Board
from analysis.board.rules.base import Rule, Verdict
from analysis.board.rules.registry import rules_for
from analysis.board.sensor import SensorState
from analysis.board.snapshot import SensorWarning, WarningKind
from replay import event as ev
from replay.event import HEART_RATE, MQTT_HEART_RATE, Event
from replay.payloads import HeartRate, encode_heart_rate
from replay.plan import Plan, PlannedSensor

S = 1_000_000_000
SEVERAL = ("seconds", "minutes", "efforts", "beats", "readings", "notifications", "sensors")
"""Words for more than one."""


def planned(label: str, role: str = "test", **more: Any) -> PlannedSensor:
    """A sensor of a plan; simulated unless told otherwise."""
    kind = "strap" if role == "reference" else "wrist"
    given: dict[str, Any] = {"source": "simulated", "kind": kind, **more}
    return PlannedSensor(label=label, role=role, **given)


def plan_of(*sensors: PlannedSensor) -> Plan:
    """A plan with these sensors; by default a reference and two test sensors."""
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=sensors or (planned("Yarrow", "reference"), planned("Sorrel"), planned("Tansy")),
    )


def hr(t_s: float, sensor: int, bpm: int, **more: Any) -> Event:
    """One heart-rate notification."""
    return Event(round(t_s * S), sensor, ev.HEART_RATE, encode_heart_rate(bpm, **more))


def stream(
    sensor: int,
    start_s: float,
    end_s: float,
    bpm: float | Callable[[float], float],
    *,
    every_s: float = 1.0,
    rr: Callable[[float], Sequence[int]] = lambda _: (),
    **more: Any,
) -> list[Event]:
    """Notifications from ``start_s`` until before ``end_s``; ``bpm`` and ``rr`` may follow time."""
    count = round((end_s - start_s) / every_s)
    times = [start_s + k * every_s for k in range(count)]
    value = bpm if callable(bpm) else lambda _: bpm
    return [hr(t, sensor, round(value(t)), rr=rr(t), **more) for t in times]


def strap(
    rr_s: Iterable[float], *, bpm: int | None = None, sensor: int = 1, start_s: float = 0.0
) -> list[Event]:
    """Notifications once a second of a strap whose beats have these RR, in s.

    Each brings the beats that are complete; ``bpm`` is fixed, or the mean of the last six.
    """
    events, at, ready, recent = [], start_s, [], deque[float](maxlen=6)
    tick = start_s + 1
    for rr in rr_s:
        at += rr
        while at > tick:
            if recent:
                sent = bpm or min(255, round(60 * len(recent) / sum(recent)))
                events.append(hr(tick, sensor, sent, rr=ready))
                ready = []
            tick += 1
        ready.append(round(rr * 1024))
        recent.append(rr)
    return events


def link(t_s: float, sensor: int, state: str) -> Event:
    """A change of link state."""
    return Event(round(t_s * S), sensor, ev.LINK, state.encode())


def play(
    plan: Plan,
    *streams: Iterable[Event],
    until_s: float,
    rules: Any = None,
    failing: bool = False,
) -> Board:
    """A board that has been fed the streams in order of time and finished at ``until_s``.

    Unless a rule is ``failing`` on purpose: every rule gives a verdict each time, none fails, and
    each warning is well formed.
    """
    made = rules_for if rules is None else rules
    board = Board(plan, lambda session: [_judging(rule) for rule in made(session)])
    for event in sorted(chain.from_iterable(streams), key=itemgetter(0)):
        if event.t_ns <= until_s * S:
            board.feed(event)
    board.finish(round(until_s * S))
    if not failing:
        assert board.failed_rules == ()
    for warning in board.warnings:
        assert_well_formed(warning)
    return board


def _judging(rule: Rule) -> Rule:
    """The rule, which fails where it gives no verdict."""
    step = rule.step

    def checked(second: int) -> Verdict:
        verdict = step(second)
        assert isinstance(verdict, Verdict), verdict
        return verdict

    rule.step = checked  # type: ignore[method-assign]
    return rule


def assert_well_formed(warning: SensorWarning) -> None:
    """Sentences that can be read; a fault that is not told of before it began, and ends with a
    reason.
    """
    sentences = [warning.cause, warning.advice]
    if warning.end_s is None:
        assert warning.cleared == ""
    else:
        assert warning.start_s <= warning.end_s
        sentences.append(warning.cleared)
    for told in sentences:
        assert_readable(told)
    assert 0 <= warning.since_s <= warning.start_s


def listened(board: Board) -> set[str]:
    """All sentences of warnings from now on, of each second in which one stands, and at its end."""
    said = set[str]()
    ended = 0

    def listen(_second: int) -> None:
        nonlocal ended
        over = []
        for one in board.warnings:
            if one.end_s is None:
                said.update((one.cause, one.advice))
            else:
                over.append(one.cleared)
        if len(over) > ended:
            said.update(over)
            ended = len(over)

    board.on_second = listen
    return said


def assert_readable(sentence: str) -> None:
    """A whole sentence, with numbers where it has numbers, and one of a thing not as several."""
    assert re.search(r"^[A-Z\d].*[^\s.?][.?]$", sentence), sentence
    assert not re.search(r"\b(None|nan|inf)\b|  |[{}<>]", sentence), sentence
    assert not re.search(rf"(?<![\d.])1 ({'|'.join(SEVERAL)})\b", sentence), sentence


def of_kind(board: Board, kind: WarningKind, sensor: int | None = None) -> list[SensorWarning]:
    """The warnings of this kind, of one sensor if it is given."""
    return [w for w in board.warnings if w.kind is kind and sensor in (None, w.sensor)]


def hear(sensor: SensorState, sent: Iterable[tuple[int, HeartRate]]) -> None:
    """The sensor has sent these since the last closed grid second, and nothing else."""
    sensor.next_second()
    for t_ns, reading in sent:
        bpm, rest = divmod(reading.mbpm, 1000)
        channel, payload = (
            HEART_RATE,
            encode_heart_rate(bpm, contact=reading.contact, rr=reading.rr),
        )
        if rest:
            channel, payload = MQTT_HEART_RATE, f"{bpm}.{rest:03}".encode()
        sensor.take(t_ns, Event(t_ns, sensor.number, channel, payload))


def ticks_of(seed: int, until_s: int) -> list[int]:
    """Up to 40 moments of the first seconds, ns, in no order: half of them about a full second."""
    chance = Random(seed)
    return [
        chance.randrange(until_s) * S
        + chance.choice([0, -1, 1, -S // 50, S // 50, *(chance.randrange(S) for _ in range(5))])
        for _ in range(chance.randrange(41))
    ]
