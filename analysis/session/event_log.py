"""The notifications around an instant, each with what the board made of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from replay import event as ev
from replay.channels import DECODERS, HEART_RATE_CHANNELS, decode, words_of
from replay.errors import PayloadError
from replay.event import NS_PER_S, SESSION, Event
from replay.payloads import HeartRate

if TYPE_CHECKING:
    from replay.capture import Capture
    from replay.plan import Plan

LOOK_BACK_S: Final = (30, 600)
"""How far before the shown stretch the predecessor of a notification is looked for; behind the
last step stands the whole capture."""


class Outcome(StrEnum):
    """What became of a notification."""

    HELD = "held"
    """Valid, and the sensor's value at one grid second or more."""
    PASSED = "valid"
    """Valid, but a newer one came before the next grid second."""
    NOT_VALID = "not valid"
    """It decodes to what may not be paired."""
    MALFORMED = "malformed"
    """It does not decode."""
    DOUBLED = "doubled"
    """The same notification had been taken already."""
    NOTED = "noted"
    """It carries no heart rate: battery, cadence, firmware, link …"""


@dataclass(frozen=True, slots=True)
class Notification:
    """One event as the inspector shows it.

    ``spacing_ns``: since the one before of the same sensor on the same channel, ``None`` for the
    first.  ``why``: one phrase on its fate, for ``HELD`` the grid seconds.  ``from_s``, ``to_s``:
    grid seconds ``from_s <= k < to_s`` at which it is the sensor's value, if it is ``HELD``.
    ``channel``: by which its bytes are to be read; for a dropped copy that of the notification
    it repeats.
    """

    event: Event
    spacing_ns: int | None
    outcome: Outcome
    why: str
    from_s: int = 0
    to_s: int = 0
    channel: str = ""


def notifications(
    capture: Capture,
    start_ns: int,
    end_ns: int,
    *,
    sensors: frozenset[int] | None = None,
    before: Callable[[int, str, int], int | None] | None = None,
) -> tuple[Notification, ...]:
    """The events with ``start_ns <= t_ns < end_ns`` of some sensors (all if ``None``).

    The session's own events are left out unless sensor 0 is asked for.  ``before``: time of the
    newest event of (sensor, channel) before a time, if somebody knows it; else the capture is
    searched, which takes as long as the gap is old.  Raises ``replay.errors.DamagedCapture`` where
    the capture is damaged.
    """
    plan, start_ns = capture.plan, max(start_ns, 0)
    longest_ns = max(sensor.hold_ns for sensor in plan.sensors) + NS_PER_S
    wanted = sensors if sensors is not None else frozenset(range(1, len(plan.sensors) + 1))
    read = [
        event for event in capture.events(start_ns, end_ns + longest_ns) if event.sensor in wanted
    ]
    shown = [event for event in read if event.t_ns < end_ns]
    streams = {(event.sensor, event.channel) for event in shown}
    if before is None:
        newest = _searched(capture, start_ns, streams)
    else:
        known = {stream: before(*stream, start_ns) for stream in streams}
        newest = {stream: t_ns for stream, t_ns in known.items() if t_ns is not None}
    following = _next_valid(read)
    ends_s = capture.duration_ns // NS_PER_S
    origins: dict[tuple[int, bytes], str] = {}
    found = []
    for place, event in enumerate(shown):
        stream = (event.sensor, event.channel)
        last_ns = newest.get(stream)
        newest[stream] = event.t_ns
        spacing = None if last_ns is None else event.t_ns - last_ns
        channel = event.channel
        if channel == ev.DOUBLED:
            channel = origins.get((event.sensor, event.payload), ev.DOUBLED)
        else:
            origins[event.sensor, event.payload] = channel
        judged = _judged(plan, event, spacing, following.get(place), ends_s)
        found.append(replace(judged, channel=channel))
    return tuple(found)


_Stream = tuple[int, str]


def _searched(capture: Capture, start_ns: int, streams: set[_Stream]) -> dict[_Stream, int]:
    """Time of the newest event before ``start_ns`` in each stream that has one."""
    found: dict[_Stream, int] = {}
    until_ns = start_ns
    for step_s in (*LOOK_BACK_S, None):
        if until_ns <= 0 or streams <= found.keys():
            break
        from_ns = 0 if step_s is None else max(start_ns - step_s * NS_PER_S, 0)
        newest = {
            (event.sensor, event.channel): event.t_ns for event in capture.events(from_ns, until_ns)
        }
        for stream in streams - found.keys():
            if stream in newest:
                found[stream] = newest[stream]
        until_ns = from_ns
    return found


def _next_valid(events: list[Event]) -> dict[int, int]:
    """Place of each valid heart rate → time of the sensor's next valid one."""
    following: dict[int, int] = {}
    newest: dict[int, int] = {}
    for place in range(len(events) - 1, -1, -1):
        event = events[place]
        if event.channel in HEART_RATE_CHANNELS and _valid(event):
            if event.sensor in newest:
                following[place] = newest[event.sensor]
            newest[event.sensor] = event.t_ns
    return following


def _valid(event: Event) -> bool:
    try:
        reading = decode(event.channel, event.payload)
    except PayloadError:
        return False
    return isinstance(reading, HeartRate) and reading.valid_mbpm is not None


def _judged(
    plan: Plan, event: Event, spacing_ns: int | None, next_ns: int | None, last_s: int
) -> Notification:
    if event.channel == ev.DOUBLED:
        why = "sent twice: this copy was dropped and counted"
        return Notification(event, spacing_ns, Outcome.DOUBLED, why)
    if event.channel not in DECODERS:
        return Notification(event, spacing_ns, Outcome.NOTED, words_of(event.channel))
    try:
        reading = decode(event.channel, event.payload)
    except PayloadError as error:
        why = f"byte {error.byte}: {error.problem}"
        return Notification(event, spacing_ns, Outcome.MALFORMED, why)
    if not isinstance(reading, HeartRate):
        return Notification(event, spacing_ns, Outcome.NOTED, words_of(event.channel))
    if reading.valid_mbpm is None:
        return Notification(event, spacing_ns, Outcome.NOT_VALID, _why_not(reading))
    hold_ns = plan.sensor(event.sensor).hold_ns
    from_s = -(-event.t_ns // NS_PER_S)
    to_s = min((event.t_ns + hold_ns) // NS_PER_S + 1, last_s + 1)
    if next_ns is not None:  # a reading at the very instant of a grid second is the newer one
        to_s = min(to_s, -(-next_ns // NS_PER_S))
    if to_s <= from_s:
        why = "a newer one came before the next grid second"
        return Notification(event, spacing_ns, Outcome.PASSED, why)
    last = to_s - 1
    why = f"second {from_s}" if last == from_s else f"seconds {from_s} to {last}"
    return Notification(event, spacing_ns, Outcome.HELD, why, from_s, to_s)


def _why_not(reading: HeartRate) -> str:
    if reading.contact is False:
        return "the sensor says that it has no skin contact"
    if reading.mbpm == 0:
        return "0 bpm: the sensor has no value"
    return f"{reading.bpm:g} bpm is not within 25 to 240 bpm"


def who(plan: Plan, event: Event) -> str:
    """Label of the event's sensor."""
    return "session" if event.sensor == SESSION else plan.sensor(event.sensor).label


def values_in(found: Iterable[Notification], second: int) -> dict[int, Notification]:
    """By sensor: the notification that is its value at a grid second."""
    return {
        one.event.sensor: one
        for one in found
        if one.outcome is Outcome.HELD and one.from_s <= second < one.to_s
    }
