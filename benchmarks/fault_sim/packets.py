"""What healthy sensors would send, as values; faults are put in before these become bytes."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from live.simulated.noise import Noise
from live.simulated.optical import Optical
from live.simulated.troubles import Trouble, Troubles
from live.simulated.world import World
from replay.payloads import decode_heart_rate

TICKS = 1024


@dataclass(slots=True)
class Packet:
    """One notification before encoding.  ``rr``: 1/1024 s, ``None`` if it carries no RR field."""

    t_s: float
    bpm: int
    contact: bool = True
    rr: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class StrapBuild:
    """How a strap works: notification period, beats averaged, by mean or median."""

    period_s: float
    beats: int
    by_median: bool
    sends_rr: bool


def true_beats(world: World, noise: Noise, premature_per_h: float) -> list[float]:
    """The wearer's beats in s, with harmless premature beats and their longer pauses."""
    beats = [beat / 1e9 for beat in world.beats_ns]
    chance = premature_per_h * world.duration_s / 3600 / max(len(beats), 1)
    for index in range(1, len(beats) - 1):
        if noise.chance(chance):
            beats[index] -= (beats[index] - beats[index - 1]) * noise.uniform(0.2, 0.35)
    return beats


def strap_packets(
    build: StrapBuild,
    beats: Sequence[float],
    start_s: float,
    end_s: float,
    start_bpm: float,
) -> list[Packet]:
    """Packets of a strap that felt these beats."""
    packets: list[Packet] = []
    recent: deque[int] = deque(maxlen=build.beats)
    bpm = start_bpm
    at = bisect_left(beats, start_s)
    last: int | None = None
    send_s = start_s + build.period_s
    while send_s < end_s:
        rr = []
        while at < len(beats) and beats[at] <= send_s - 0.05:
            tick = round(beats[at] * TICKS)
            # After a pause of seconds a strap begins its counting anew.
            if last is not None and tick - last < 3 * TICKS:
                rr.append(tick - last)
            last = tick
            at += 1
        recent.extend(rr)
        if rr:
            ordered = sorted(recent)
            typical = ordered[len(ordered) // 2] if build.by_median else sum(recent) / len(recent)
            bpm = 60 * TICKS / max(typical, 200)
        packets.append(
            Packet(send_s, min(int(bpm + 0.5), 255), rr=tuple(rr) if build.sends_rr else None)
        )
        send_s += build.period_s
    return packets


def optical_packets(
    build: Optical,
    world: World,
    noise: Noise,
    span_s: tuple[float, float],
    *,
    troubles: Sequence[Trouble] = (),
    beats: Sequence[float] | None = None,
) -> list[Packet]:
    """Packets of an optical sensor; with ``beats`` it also sends intervals, less sharp."""
    packets = []
    at = 0 if beats is None else bisect_left(beats, span_s[0])
    last_s: float | None = None
    for t_s, _, payload in build.readings(world, noise, Troubles(troubles), *span_s):
        packet = Packet(t_s, int(decode_heart_rate(payload).bpm))
        if beats is not None:
            rr = []
            while at < len(beats) and beats[at] <= t_s - 0.4:
                felt_s = beats[at] + noise.normal(0.006)
                if last_s is not None:
                    rr.append(max(int((felt_s - last_s) * TICKS + 0.5), 200))
                last_s = felt_s
                at += 1
            packet.rr = tuple(rr)
        packets.append(packet)
    return packets
