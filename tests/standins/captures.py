"""A plan, events and capture files of the invented scenario, for tests of captures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from replay.capture import CaptureWriter
from replay.event import ANCHOR, HEART_RATE, LINK, NS_PER_S, SESSION, Event, pack_int
from replay.plan import Plan, PlannedSensor

STARTED_UTC_NS = 1_772_608_500_000_000_000

PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow"),
        PlannedSensor(label="Sorrel", role="test", placement="left wrist", name="Sorrel"),
        PlannedSensor(label="Bracken", role="test", placement="right upper arm", name="Bracken"),
    ),
)


def session_events(seconds: int, sensors: int = 3) -> Iterator[Event]:
    """One heart-rate notification a second from each sensor, links at the start, anchors."""
    for sensor in range(1, sensors + 1):
        yield Event(0, sensor, LINK, b"streaming")
    for second in range(seconds):
        start = second * NS_PER_S
        if second % 30 == 0:
            yield Event(start, SESSION, ANCHOR, pack_int(STARTED_UTC_NS + start))
        for sensor in range(1, sensors + 1):
            bpm = 100 + (second * 7 + sensor * 3) % 60
            rr = (61_440 // bpm).to_bytes(2, "little")
            yield Event(start + sensor * 1_234_567, sensor, HEART_RATE, bytes((0x10, bpm)) + rr)


def write_capture(
    path: Path,
    events: Iterable[Event],
    *,
    plan: Plan = PLAN,
    end_ns: int | None = None,
    commit_every: int = 64,
) -> list[Event]:
    """Write and close a capture; returns its events."""
    written = list(events)
    writer = CaptureWriter(path, plan, started_utc_ns=STARTED_UTC_NS, software="sidebeat test")
    for number, event in enumerate(written, 1):
        writer.append(event)
        if number % commit_every == 0:
            writer.commit()
    last = written[-1].t_ns if written else 0
    writer.close(t_ns=last if end_ns is None else end_ns, reason="stopped by the tester")
    return written
