"""Feeds that say what a test wants, and small captures to replay."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from pathlib import Path

from live.protocol.feed import Message
from replay.capture import CaptureWriter
from replay.event import HEART_RATE, LINK, MARKER, NS_PER_S, Event
from replay.plan import Plan, PlannedSensor

PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow"),
        PlannedSensor(label="Sorrel", role="test", placement="left wrist", name="Sorrel"),
    ),
)


class ScriptedFeed:
    """Hands over one list of messages at each poll, then nothing; remembers what was sent."""

    started_utc_ns = 0
    title = "scripted"
    silent_s = 0.0

    def __init__(
        self, polls: Iterable[list[Message]], *, plan: Plan = PLAN, is_live: bool = True
    ) -> None:
        self.plan = plan
        self.is_live = is_live
        self.sent: list[tuple[str, dict[str, str | int]]] = []
        self.closed = False
        self._polls = iter(polls)

    def poll(self) -> list[Message]:
        return next(self._polls, [])

    def send(self, action: str, **values: str | int) -> int:
        self.sent.append((action, values))
        return len(self.sent)

    def close(self) -> None:
        self.closed = True


def beat(second: float, sensor: int, bpm: int) -> Event:
    """A heart-rate notification with contact."""
    return Event(round(second * NS_PER_S), sensor, HEART_RATE, bytes([0x06, bpm]))


def two_sensors(seconds: int, *, apart: int = 2) -> list[Event]:
    """A reference and a test sensor about ``apart`` bpm above it, once a second each.

    Both follow one heart with unrest of their own, so that neither looks like a copy of the other.
    """
    unrest = random.Random(11)
    events = [
        Event(0, 1, LINK, b"streaming"),
        Event(0, 2, LINK, b"streaming"),
        Event(5 * NS_PER_S + 1, 0, MARKER, b"warm"),
    ]
    for second in range(seconds):
        heart = 120 + round(20 * math.sin(second / 15))
        events.append(beat(second + 0.1, 1, heart + unrest.choice((-1, 0, 1))))
        events.append(beat(second + 0.3, 2, heart + apart + unrest.choice((-2, -1, 0, 1, 2))))
    return sorted(events, key=lambda event: event.t_ns)


def written(
    path: Path,
    events: Iterable[Event],
    *,
    plan: Plan = PLAN,
    end_s: float | None = None,
    reason: str = "stopped by the tester",
) -> Path:
    """A capture of these events; unclean if ``end_s`` is not given."""
    writer = CaptureWriter(path, plan, started_utc_ns=1_772_604_900 * NS_PER_S, software="test")
    for event in events:
        writer.append(event)
    writer.commit()
    if end_s is None:
        writer.abandon()
    else:
        writer.close(t_ns=round(end_s * NS_PER_S), reason=reason)
    return path
