"""From beats and readings to notifications as they arrive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median
from typing import Final

import numpy as np

from benchmarks.field_sim.optical import Optical

TICKS_PER_S: Final = 1024
QUIET_S: Final = 4.0
"""A strap that has heard no beat for this long says so."""


@dataclass(frozen=True, slots=True)
class Sent:
    """One notification: arrival in s, bpm, RR in 1/1024 s, contact bit (``None``: not sent)."""

    t_s: float
    bpm: int
    rr: tuple[int, ...] = ()
    contact: bool | None = None


@dataclass(frozen=True, slots=True)
class Strap:
    """``window``: intervals in its bpm.  ``median``: of them, else their mean.  ``sends_rr``."""

    window: int
    median: bool
    tells_contact: bool
    sends_rr: bool = True


def draw_strap(rng: np.random.Generator) -> Strap:
    """A chest strap; two of three tell contact."""
    return Strap(int(rng.integers(3, 10)), bool(rng.random() < 0.4), bool(rng.random() < 0.65))


def arrivals(seconds: float, every_s: float, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Instants at which a sensor reports and at which that arrives, in s.

    Its clock is a little off; now and then one is held back until the next, or lost.
    """
    every = every_s * (1 + rng.normal(0, 3e-4))
    begin = rng.uniform(0.05, min(every, 1.0))
    count = max(int((seconds - begin) / every), 0)
    due = begin + every * np.arange(count)
    jitter = np.where(rng.random(count) < 0.8, rng.normal(0, 0.0045, count),
                      rng.normal(0, 0.034, count))  # fmt: skip
    came = due + 0.12 + np.clip(jitter, -0.1, 0.3)
    fate = rng.random(count)
    for index in np.flatnonzero(fate < 4e-4):
        if index + 1 < count:
            came[index] = came[index + 1] - rng.uniform(0.0001, 0.001)
    kept = fate < 1 - 1.6e-3
    came = np.maximum.accumulate(came)
    return [(float(a), float(b)) for a, b, k in zip(due, came, kept, strict=True) if k]


def strap_sent(
    heard: Sequence[float], strap: Strap, seconds: float, rng: np.random.Generator
) -> list[Sent]:
    """What a strap that heard these beats sends; the RR of a lost notification are lost."""
    times = np.asarray(heard)
    ticks = np.round(times * TICKS_PER_S).astype(np.int64)
    rr = np.clip(np.diff(ticks), 0, 0xFFFF).tolist()
    reports = arrivals(seconds, 1.0, rng)
    dues = np.asarray([due for due, _ in reports])
    # Due every second on the strap's own clock: what was lost took its beats with it.
    lasts = np.searchsorted(times, dues, side="right").tolist()
    firsts = np.searchsorted(times, dues - 1.0, side="right").tolist()
    contact = True if strap.tells_contact else None
    out: list[Sent] = []
    for (due, came), first, last in zip(reports, firsts, lasts, strict=True):
        if last == 0 or due - heard[last - 1] > QUIET_S:
            out.append(Sent(came, 0, (), False if strap.tells_contact else None))
            continue
        recent = rr[max(last - 1 - strap.window, 0) : max(last - 1, 0)]
        middle = 0.0
        if recent:
            middle = median(recent) if strap.median else sum(recent) / len(recent)
        bpm = min(round(60 * TICKS_PER_S / middle), 255) if middle > 0 else 0
        new = tuple(rr[max(first - 1, 0) : max(last - 1, 0)]) if strap.sends_rr else ()
        out.append(Sent(came, bpm, new, contact))
    return out


def optical_sent(
    shown: Sequence[int],
    sensor: Optical,
    beats_s: Sequence[float],
    seconds: float,
    rng: np.random.Generator,
) -> list[Sent]:
    """What an optical sensor with these readings sends.

    Its RR leave beats out and carry the noise of a pulse's slow rise.
    """
    spans: list[list[int]] = [[] for _ in range(int(seconds) + 2)]
    if sensor.rr_left_out is not None:
        _fill_optical_rr(spans, beats_s, sensor.rr_left_out, rng)
    out: list[Sent] = []
    told = -1
    for due, came in arrivals(seconds, sensor.every_s, rng):
        second = min(int(due), len(shown) - 1)
        contact: bool | None = True if sensor.tells_contact else None
        if due < sensor.acquires_s:
            looking = False if contact is not None and sensor.acquires_bpm == 0 else contact
            out.append(Sent(came, sensor.acquires_bpm, (), looking))
            continue
        rr = [x for span in spans[max(told + 1, second - 1) : second + 1] for x in span]
        told = second
        out.append(Sent(came, int(shown[second]), tuple(rr[:9]), contact))
    return out


def _fill_optical_rr(
    spans: list[list[int]], beats_s: Sequence[float], left_out: float, rng: np.random.Generator
) -> None:
    seen = [t + rng.normal(0.25, 0.008) for t in beats_s]
    for before, now in pairwise(seen):
        # A beat that could not be placed leaves its interval out: the list is short, not longer.
        if rng.random() >= left_out and now - before < 2.5 and now < len(spans):
            spans[int(now)].append(round((now - before) * TICKS_PER_S))


def relayed(packets: Sequence[Sent], seconds: float, rng: np.random.Generator) -> list[Sent]:
    """The same RR lists 0.45 s later, 98.5 % of them unchanged, some lost on the way."""
    out: list[Sent] = []
    carried: tuple[int, ...] = ()
    for packet in packets:
        t_s = packet.t_s + float(np.clip(rng.normal(0.45, 0.06), 0.15, 0.9))
        rr, carried = carried + packet.rr, ()
        fate = rng.random()
        if fate < 0.008 and len(rr) > 1:
            rr, carried = rr[:-1], rr[-1:]
        elif fate < 0.015 and rr:
            rr = (rr[0] + int(rng.integers(-1, 2)), *rr[1:])
        if rng.random() >= 0.006 and t_s < seconds:
            out.append(Sent(t_s, packet.bpm, rr, None))
    return in_order(out)


def twin_of(packets: Sequence[Sent], seconds: float, rng: np.random.Generator) -> list[Sent]:
    """A second connection to the same sensor: the same bytes within hundredths of a second."""
    apart = rng.normal(0, 0.03)
    out = [
        replace(packet, t_s=max(packet.t_s + apart + rng.normal(0, 0.006), 0.0))
        for packet in packets
        if rng.random() >= 0.003
    ]
    return in_order([packet for packet in out if packet.t_s < seconds])


def in_ms(packets: Sequence[Sent]) -> list[Sent]:
    """RR sent in ms by a sensor whose maker overlooked that the standard counts 1/1024 s."""
    return [
        replace(packet, rr=tuple(round(x * 1000 / TICKS_PER_S) for x in packet.rr))
        for packet in packets
    ]


def in_order(packets: list[Sent]) -> list[Sent]:
    """Sorted by arrival."""
    return sorted(packets, key=lambda packet: packet.t_s)
