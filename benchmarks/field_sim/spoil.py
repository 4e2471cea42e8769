"""What goes wrong with beats, readings and notifications."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from benchmarks.field_sim.sent import Sent

Floats = npt.NDArray[np.float64]


def badly_heard(
    beats_s: Sequence[float], start_s: float, end_s: float, share: float, rng: np.random.Generator
) -> tuple[list[float], list[float]]:
    """Beats as a loose strap hears them between two seconds, and where it was wrong.

    One in ``1/share`` is missed, doubled (its T wave counted too) or joined by a stray one; bad
    beats come in groups.
    """
    heard: list[float] = []
    wrong: list[float] = []
    left = 0
    for now, following in zip(beats_s, [*beats_s[1:], beats_s[-1] + 0.6], strict=True):
        inside = start_s <= now < end_s
        if inside and left == 0 and rng.random() < share / 1.8:
            left = 1 + int(rng.random() < 0.45) + int(rng.random() < 0.2)
        if not inside or left == 0:
            heard.append(now)
            continue
        left -= 1
        wrong.append(now)
        kind = rng.random()
        if kind < 0.5:
            continue
        gap = following - now
        stray = 0.36 + 0.1 * rng.random() if kind < 0.8 else rng.uniform(0.15, 0.85)
        heard += [now, now + stray * gap]
    return heard, wrong


def flipped(shown: Floats, start: int, end: int, height_bpm: float, every_s: int) -> None:
    """Off by a height that changes sides every so often, in place."""
    span = np.arange(start, end)
    shown[span] += height_bpm * np.where((span - start) // every_s % 2 == 0, 1, -1)


def half_outside(shown: Floats, start: int, end: int, rng: np.random.Generator) -> None:
    """In and out of the tolerance in stretches of 5 to 15 s, half of the time outside."""
    at = start
    while at < end:
        out = int(rng.integers(5, 16))
        shown[at : min(at + out, end)] += rng.choice([-1, 1]) * rng.uniform(28, 50)
        at += out + int(rng.integers(5, 16))


def missed(shown: Floats, start: int, end: int, share: float) -> None:
    """Shows only this share of the rise above the value at the start, in place."""
    base = shown[start]
    shown[start:end] = np.where(
        shown[start:end] > base, base + share * (shown[start:end] - base), shown[start:end]
    )


def lowered(shown: Floats, start: int, end: int, by_bpm: float) -> None:
    """Low by so much, entered and left within 15 s, in place."""
    span = np.arange(start, end)
    shape = np.minimum(np.minimum((span - start + 1) / 15, (end - span) / 15), 1.0)
    shown[start:end] -= by_bpm * shape


def on_cadence(
    shown: Floats, cadence: Floats, start: int, end: int, rng: np.random.Generator
) -> None:
    """Follows the steps or turns instead of the heart, in place."""
    wander = np.cumsum(rng.normal(0, 0.5, end - start))
    wander -= np.linspace(wander[0], wander[-1], end - start)
    shown[start:end] = cadence[start:end] + np.clip(wander, -2, 2)


def thinned(
    packets: Sequence[Sent], start_s: float, end_s: float, lost: float, rng: np.random.Generator
) -> list[Sent]:
    """Without this share of the notifications between two seconds."""
    return [
        packet for packet in packets if not start_s <= packet.t_s < end_s or rng.random() >= lost
    ]


def off_skin(packets: Sequence[Sent], start_s: float, end_s: float, *, held: bool) -> list[Sent]:
    """No RR and contact lost where it is told; the bpm held or 0."""
    out: list[Sent] = []
    last = 0
    for packet in packets:
        if start_s <= packet.t_s < end_s:
            told = None if packet.contact is None else False
            out.append(Sent(packet.t_s, last if held else 0, (), told))
        else:
            last = packet.bpm
            out.append(packet)
    return out


def flickering(
    packets: Sequence[Sent], start_s: float, end_s: float, rng: np.random.Generator
) -> list[Sent]:
    """One notification in eight says that contact is lost."""
    return [
        replace(packet, contact=False)
        if start_s <= packet.t_s < end_s and packet.contact is not None and rng.random() < 0.125
        else packet
        for packet in packets
    ]


def leaping(packets: Sequence[Sent], rng: np.random.Generator, count: int) -> list[Sent]:
    """A few single readings that no heart can show (86, then 30, then 86 bpm)."""
    out = list(packets)
    for index in rng.integers(1, max(len(out) - 1, 2), count).tolist():
        if index < len(out) and out[index].bpm > 60:
            out[index] = replace(out[index], bpm=int(rng.integers(30, 38)), rr=())
    return out
