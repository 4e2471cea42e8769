"""A plan, events and capture files of the invented scenario, for tests of captures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from replay.capture import CaptureWriter
from replay.errors import CaptureError
from replay.event import ANCHOR, HEART_RATE, LINK, NS_PER_S, SESSION, Event, Stamp, pack_int
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


def stamped_elsewhere(events: Iterable[Event]) -> Iterator[Event]:
    """The same events, those of the last sensor as a node's, whose offset was known from 60 s on.

    The node's clock runs 5000 s ahead of the capture's, and 0.2 s pass on the way.
    """
    for event in events:
        if event.sensor != len(PLAN.sensors):
            yield event
            continue
        offset_ns = -5000 * NS_PER_S if event.t_ns > 60 * NS_PER_S else None
        foreign = Stamp(event.t_ns + 4_999_800_000_000, "node:attic/1", offset_ns)
        yield event._replace(foreign=foreign)


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
    try:
        for number, event in enumerate(written, 1):
            writer.append(event)
            if number % commit_every == 0:
                writer.commit()
    except CaptureError:
        writer.abandon()
        raise
    last = written[-1].t_ns if written else 0
    writer.close(t_ns=last if end_ns is None else end_ns, reason="stopped by the tester")
    return written
