"""A session's events in order: links, anchors, batteries, notifications."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchmarks.field_sim.worn import Worn
from replay import event as ev
from replay.event import NS_PER_S, SESSION, Event, pack_int
from replay.link_state import LinkState
from replay.payloads.heart_rate import encode_heart_rate

_BEGAN_NS = 1_772_600_000 * NS_PER_S
"""Some morning, UTC."""


def events_of(
    worn: Worn, companion: Sequence[tuple[float, str, bytes]], rng: np.random.Generator
) -> list[Event]:
    """Everything that a capture of this session would hold."""
    end_s = worn.duration_s
    rows: list[tuple[float, int, str, bytes]] = [
        (float(second), SESSION, ev.ANCHOR, pack_int(_BEGAN_NS + second * NS_PER_S))
        for second in range(0, int(end_s), 30)
    ]
    swap = {} if worn.swapped is None else dict((worn.swapped, worn.swapped[::-1]))
    for own, sensor in enumerate(worn.sensors, 1):
        number = swap.get(own, own)
        packets = [packet for packet in sensor.packets if 0 <= packet.t_s < end_s]
        first_s = packets[0].t_s if packets else end_s
        rows += _link(number, first_s, sensor.lost_link, rng)
        rows += [
            (p.t_s, number, ev.HEART_RATE, encode_heart_rate(p.bpm, rr=p.rr, contact=p.contact))
            for p in packets
        ]
    if worn.companion:
        number = len(worn.sensors) + 1
        rows += _link(number, companion[0][0] if companion else 0.5, [], rng)
        rows += [(t_s, number, channel, data) for t_s, channel, data in companion if t_s < end_s]
    rows.sort(key=lambda row: row[0])
    return [
        Event(max(round(t_s * NS_PER_S), 0), number, channel, payload)
        for t_s, number, channel, payload in rows
    ]


def _link(
    number: int,
    first_s: float,
    lost: Sequence[tuple[float, float]],
    rng: np.random.Generator,
) -> list[tuple[float, int, str, bytes]]:
    def state(t_s: float, name: LinkState) -> tuple[float, int, str, bytes]:
        return (t_s, number, ev.LINK, name.value.encode("ascii"))

    up = max(first_s - 0.05, 0.0)
    rows = [state(0.0, LinkState.SEARCHING), state(0.8 * up, LinkState.CONNECTING)]
    rows += [state(0.9 * up, LinkState.PREPARING), state(up, LinkState.STREAMING)]
    rows.append((up, number, ev.BATTERY, bytes([int(rng.integers(45, 100))])))
    for start, end in lost:
        if start > up:
            rows += [state(start, LinkState.LOST), state(start + 1, LinkState.SEARCHING)]
            rows += [state(end - 0.5, LinkState.CONNECTING), state(end - 0.02, LinkState.STREAMING)]
    return rows
