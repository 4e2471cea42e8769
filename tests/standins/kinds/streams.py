"""Streams with one fault from the first second, or with a little less than that."""

from __future__ import annotations

import math
import random
import struct
from typing import Final

from replay import event as ev
from replay.channels import decode
from replay.event import Event, pack_int
from replay.payloads import encode_heart_rate
from tests.standins.session_events import S, hr, strap, stream

Streams = list[list[Event]]


def heart(t: float) -> float:
    """Of a wearer whose rate moves by 60 bpm within two minutes."""
    return 120 + 30 * math.sin(t / 40)


def intervals(t: float) -> float:
    """Efforts of two minutes every five."""
    into = (t - 60) % 300
    if t < 60:
        return 90
    if into < 120:
        return 90 + 60 * (1 - math.exp(-into / 20))
    return 90 + 60 * math.exp(-(into - 120) / 40)


def beats(seconds: float, seed: int = 1) -> list[float]:
    """RR of this heart, s."""
    source, rr, at = random.Random(seed), [], 0.0
    while at < seconds:
        rr.append(60 / heart(at) * (1 + source.gauss(0, 0.008)))
        at += rr[-1]
    return rr


def own(
    sensor: int,
    start_s: float,
    end_s: float,
    *,
    off: float = 0.0,
) -> list[Event]:
    """An optical sensor with errors of its own."""
    source = random.Random(sensor)
    return stream(
        sensor,
        start_s + 0.5 + sensor / 10,
        end_s,
        lambda t: heart(t - 4) + off + source.gauss(0, 1),
    )


def cut(events: list[Event], first_s: float, last_s: float) -> list[Event]:
    """Those within a stretch."""
    return [event for event in events if first_s * S <= event.t_ns < last_s * S]


def changed(
    events: list[Event], *, later_s: float = 0.0, factor: float = 1.0, ticks: int = 0, sensor: int
) -> list[Event]:
    """The same readings of another sensor, later, or with other RR."""
    out = []
    for event in events:
        reading = decode(event.channel, event.payload)
        rr = [round(one * factor) + ticks for one in reading.rr]
        payload = encode_heart_rate(round(reading.bpm) + ticks, rr=rr)
        out.append(Event(event.t_ns + round(later_s * S), sensor, event.channel, payload))
    return out


def missing(rr: list[float], every: int, until: int) -> list[float]:
    """Of the first ``until`` beats every so manieth is missed: its RR is part of the next one's."""
    out, at = [], 0
    while at < len(rr):
        if at < until and at % every == every // 2 and at + 1 < len(rr):
            out.append(rr[at] + rr[at + 1])
            at += 2
        else:
            out.append(rr[at])
            at += 1
    return out


STRAP: Final = strap(beats(400))
SORREL: Final = own(2, 0, 400)
TANSY: Final = own(3, 0, 400)
SOUND: Final = (STRAP, SORREL, TANSY)


def session_event(t_s: float, channel: str, value: int) -> Event:
    """Something that the capture says of itself."""
    return Event(round(t_s * S), 0, channel, pack_int(value))


def sensor_byte(t_s: float, channel: str, value: int) -> Event:
    """Battery or signal of Sorrel."""
    return Event(round(t_s * S), 2, channel, (value & 0xFF).to_bytes(1, "little"))


def off_skin(seconds: float) -> list[Event]:
    """0 bpm without contact for so long of every 20 s."""
    return [
        hr(event.t_ns / S, 2, 0, contact=False)
        if event.t_ns < 100 * S and event.t_ns / S % 20 < seconds
        else event
        for event in SORREL
    ]


def steps() -> list[Event]:
    """168 a minute."""
    return [
        Event(round((t + 0.4) * S), 4, ev.RUNNING, struct.pack("<BHB", 4, 700, 168))
        for t in range(400)
    ]


def alike(differs_every: int) -> list[Event]:
    """Sorrel with the reference's readings at once, but every so manieth."""
    first = changed(cut(STRAP, 0, 150), later_s=0.004, sensor=2)
    odd = changed(cut(STRAP, 0, 150), later_s=0.004, ticks=1, sensor=2)
    mixed = [odd[k] if k % differs_every == 0 else one for k, one in enumerate(first)]
    return [*mixed, *cut(SORREL, 150, 400)]


def held(run_s: int) -> list[Event]:
    """Sorrel at 121 bpm, and at 122 after so long, and back."""
    frozen = stream(2, 0.7, 150, lambda t: 121 + int(t / run_s) % 2)
    return [*frozen, *cut(SORREL, 150, 400)]


def near(bpm: float) -> list[Event]:
    """Sorrel near this value whatever the heart does, then in order."""
    source = random.Random(3)
    stuck = stream(2, 0.7, 150, lambda _: bpm + source.choice((-1, 0, 1)))
    return [*stuck, *cut(SORREL, 150, 400)]


def swapped(lead_s: float, fault_s: int = 960, end_s: int = 2200) -> Streams:
    """Sorrel shows each effort so long before the reference, at first."""
    return [
        stream(1, 0.5, end_s, lambda t: intervals(t - 10)),
        stream(2, 0.4, end_s, lambda t: intervals(t - 10 + (lead_s if t < fault_s else -4))),
    ]


def late(delay_s: float, fault_s: int = 650, end_s: int = 2000) -> Streams:
    """Sorrel so much behind the reference, at first."""
    return [
        stream(1, 0.3, end_s, intervals),
        stream(2, 0.5, end_s, lambda t: intervals(t - (delay_s if t < fault_s else 4))),
    ]
