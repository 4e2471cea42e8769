"""How faults change beats and packets.  Each function is told when, and changes what is sent."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from benchmarks.fault_sim.packets import Packet
from live.simulated.noise import Noise

BAD_BEATS = 3
WITHIN_S = 10.0


def spoil_beats(
    beats: Sequence[float], noise: Noise, start_s: float, end_s: float, kind: str
) -> tuple[list[float], float | None]:
    """Beats as bad electrodes give them, and the first of three bad ones within 10 s.

    ``dry, slowly``: more and more beats missed, some noise taken for beats.  ``loose, at once``:
    bursts of missed and false beats, as with every landing of the foot.  ``beats doubled``: the
    T wave counted too, in runs.
    """
    felt: list[float] = []
    bad: list[float] = []
    run = 0
    worst = noise.uniform(0.35, 0.6)
    for index, beat in enumerate(beats):
        if not start_s <= beat < end_s or index == 0:
            felt.append(beat)
            continue
        gap = beat - beats[index - 1]
        progress = (beat - start_s) / (end_s - start_s)
        if kind == "beats doubled":
            if run == 0 and noise.chance(0.10):
                run = 1 + int(noise.uniform(0, 8))
            if run:
                run -= 1
                felt.append(beat - gap * noise.uniform(0.55, 0.7))
                bad.append(beat)
            felt.append(beat)
            continue
        if kind == "dry, slowly":
            miss, false = worst * math.sqrt(progress), 0.10 * progress
        else:
            if run == 0 and noise.chance(0.12):
                run = 2 + int(noise.uniform(0, 6))
            miss, false = (0.5, 0.25) if run else (0.03, 0.01)
            run = max(run - 1, 0)
        if noise.chance(miss):
            bad.append(beat)
            continue
        if noise.chance(false):
            felt.append(beat - gap * noise.uniform(0.25, 0.75))
            bad.append(beat)
        felt.append(beat + noise.normal(0.003))
    felt.sort()
    seen = next(
        (
            first
            for first, third in zip(bad, bad[BAD_BEATS - 1 :], strict=False)
            if third - first <= WITHIN_S
        ),
        None,
    )
    return felt, seen


def without(packets: Sequence[Packet], start_s: float, end_s: float) -> list[Packet]:
    """Nothing is sent in between."""
    return [packet for packet in packets if not start_s <= packet.t_s < end_s]


def thinned(
    packets: Sequence[Packet], noise: Noise, start_s: float, end_s: float
) -> tuple[list[Packet], float]:
    """Most notifications are lost in between; also when the first one was."""
    kept = []
    lost: list[float] = []
    share = noise.uniform(0.6, 0.8)
    for packet in packets:
        if start_s <= packet.t_s < end_s and noise.chance(share):
            lost.append(packet.t_s)
        else:
            kept.append(packet)
    return kept, lost[0] if lost else start_s


def taken_off(packets: Sequence[Packet], start_s: float, end_s: float, kind: str) -> list[Packet]:
    """Off the skin.  Depending on the firmware contact bits, bpm 0, or the bpm held, no RR."""
    changed = []
    held: Packet | None = None
    for packet in packets:
        if not start_s <= packet.t_s < end_s:
            held = packet
            changed.append(packet)
            continue
        bpm = held.bpm if held is not None else packet.bpm
        rr = None if packet.rr is None else ()
        if kind == "off, contact bits":
            # The bpm is sent on for a while after contact is lost.
            bpm = bpm if packet.t_s - start_s < 6 else 0
            changed.append(Packet(packet.t_s, bpm, contact=False, rr=rr))
        elif kind == "off, bpm 0":
            changed.append(Packet(packet.t_s, 0, rr=rr))
        else:
            changed.append(Packet(packet.t_s, bpm, rr=rr))
    return changed


def frozen(packets: Sequence[Packet], start_s: float, end_s: float) -> list[Packet]:
    """The same notification again and again, with its RR if it has some."""
    stuck = next((p for p in packets if p.t_s >= start_s), packets[-1])
    return [
        Packet(p.t_s, stuck.bpm, p.contact, stuck.rr) if start_s <= p.t_s < end_s else p
        for p in packets
    ]


def scaled(
    packets: Sequence[Packet], start_s: float, end_s: float, factor: float, ramp_s: float
) -> list[Packet]:
    """The bpm wrong by a factor that grows over ``ramp_s``."""
    changed = []
    for p in packets:
        share = min((p.t_s - start_s) / ramp_s, 1.0) if start_s <= p.t_s < end_s else 0.0
        bpm = int(p.bpm * (1 + (factor - 1) * share) + 0.5)
        changed.append(Packet(p.t_s, min(max(bpm, 30), 230), p.contact, p.rr) if share else p)
    return changed


def spliced(
    packets: Sequence[Packet], other: Sequence[Packet], start_s: float, end_s: float
) -> list[Packet]:
    """What ``other`` sends in between, and ``packets`` before and after."""
    outside = [p for p in packets if not start_s <= p.t_s < end_s]
    inside = [p for p in other if start_s <= p.t_s < end_s]
    return sorted(outside + inside, key=lambda p: p.t_s)


def repeated(
    packets: Sequence[Packet], noise: Noise, delay_s: float, *, with_rr: bool
) -> list[Packet]:
    """The packets of another sensor, a nearly constant moment later."""
    return [
        Packet(
            p.t_s + delay_s + noise.uniform(0, 0.03), p.bpm, p.contact, p.rr if with_rr else None
        )
        for p in packets
    ]


def slipped(packets: Sequence[Packet], factor: float) -> list[Packet]:
    """RR in the wrong unit: 1/1000 s taken for 1/1024 s or the other way round."""
    return [
        Packet(
            p.t_s,
            p.bpm,
            p.contact,
            None if p.rr is None else tuple(int(x * factor + 0.5) for x in p.rr),
        )
        for p in packets
    ]


def first_time(
    start_s: float, end_s: float, holds: Callable[[float], bool], step_s: float = 0.5
) -> float | None:
    """The first time in between at which ``holds``."""
    t_s = start_s
    while t_s < end_s:
        if holds(t_s):
            return t_s
        t_s += step_s
    return None
