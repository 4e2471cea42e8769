"""Faults that come and go: one after another, with clean minutes in between."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from benchmarks.fault_sim import spoil
from benchmarks.fault_sim.draft import Draft, Sensor
from benchmarks.fault_sim.faults import Fault
from benchmarks.fault_sim.packets import Packet, optical_packets, strap_packets
from live.simulated.noise import Noise
from live.simulated.troubles import Trouble, TroubleKind
from live.simulated.wearer import Trace, beat_times

CLEAN_BETWEEN_S: Final = 200.0

Maker = Callable[[Draft, Noise, float], Fault | None]
"""Puts one fault into a draft from a given second on; ``None`` if it does not fit there."""


def passing_faults(draft: Draft, noise: Noise) -> None:
    """Fill the session with faults of kinds drawn alike, at least 200 s of peace between two."""
    if noise.chance(0.3):
        _not_started(draft, noise)
    t_s = noise.uniform(180, 320)
    while t_s < draft.duration_s - 320:
        for _ in range(6):  # not every kind fits every place
            fault = MAKERS[int(noise.uniform(0, len(MAKERS)))](draft, noise, t_s)
            if fault is not None:
                draft.faults.append(fault)
                t_s = fault.end_s
                break
        t_s += noise.uniform(CLEAN_BETWEEN_S, CLEAN_BETWEEN_S + 150)


def _pick(noise: Noise, sensors: Sequence[Sensor]) -> Sensor | None:
    free = [sensor for sensor in sensors if not sensor.spoken_for]
    return free[int(noise.uniform(0, len(free)))] if free else None


def _not_started(draft: Draft, noise: Noise) -> None:
    """One sensor is switched on late or never."""
    sensor = _pick(noise, draft.sensors)
    if sensor is None:
        return
    on_s = noise.uniform(70, 400) if noise.chance(0.7) else draft.duration_s
    others = [one.packets[0].t_s for one in draft.sensors if one is not sensor]
    sensor.packets = [packet for packet in sensor.packets if packet.t_s >= on_s]
    sensor.spoken_for = True
    draft.faults.append(Fault("not started", sensor.number, min(others), on_s, 0.0))


def _silent(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.sensors)
    if sensor is None:
        return None
    end_s = t_s + noise.uniform(20, 120)
    last_s = max((p.t_s for p in sensor.packets if p.t_s < t_s), default=t_s)
    sensor.packets = spoil.without(sensor.packets, t_s, end_s)
    if noise.chance(0.5):
        sensor.silent.append((t_s, end_s))
        return Fault("silent, link up", sensor.number, last_s, end_s, last_s)
    sensor.away.append((t_s, end_s))
    return Fault("silent, link lost", sensor.number, last_s, end_s, last_s)


def _thinning(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.sensors)
    if sensor is None:
        return None
    end_s = t_s + noise.uniform(70, 180)
    sensor.packets, start_s = spoil.thinned(sensor.packets, noise, t_s, end_s)
    return Fault("thinning", sensor.number, start_s, end_s, t_s)


def _off(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.sensors)
    if sensor is None:
        return None
    if sensor.quirks.contact == "told" and not sensor.quirks.as_text:
        kind = "off, contact bits"
    elif sensor.sends_rr and noise.chance(0.5):
        kind = "off, bpm held"
    else:
        kind = "off, bpm 0"
    end_s = t_s + noise.uniform(25, 120)
    sensor.packets = spoil.taken_off(sensor.packets, t_s, end_s, kind)
    start_s = next((p.t_s for p in sensor.packets if p.t_s >= t_s), t_s)
    return Fault(kind, sensor.number, start_s, end_s, t_s)


def _dry(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    strap = draft.reference
    if strap.spoken_for or strap.strap is None or not strap.sends_rr:
        return None
    kind = ("dry, slowly", "loose, at once", "beats doubled")[int(noise.uniform(0, 3))]
    end_s = t_s + noise.uniform(60, 160)
    felt, start_s = spoil.spoil_beats(draft.beats, noise, t_s, end_s, kind)
    if start_s is None:
        return None
    bad = strap_packets(
        strap.strap, felt, strap.packets[0].t_s - strap.strap.period_s, draft.duration_s,
        draft.true_bpm(0),
    )  # fmt: skip
    # The bpm shown is an average: some bad beats are still in it after the end.
    strap.packets = spoil.spliced(strap.packets, bad, t_s, end_s + 8)
    if kind == "dry, slowly" and noise.chance(0.5):
        off_s, end_s = end_s, end_s + noise.uniform(15, 40)
        how = "off, contact bits" if strap.quirks.contact == "told" else "off, bpm 0"
        strap.packets = spoil.taken_off(strap.packets, off_s, end_s, how)
    return Fault(kind, 1, start_s, end_s + 8, t_s)


def _frozen(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.sensors)
    if sensor is None:
        return None
    end_s = t_s + noise.uniform(90, 240)
    packets = spoil.frozen(sensor.packets, t_s, end_s)
    before = draft.true_bpm(t_s)
    start_s = spoil.first_time(t_s, end_s - 30, lambda s: abs(draft.true_bpm(s) - before) >= 5)
    if start_s is None:
        return None
    sensor.packets = packets
    return Fault("frozen", sensor.number, start_s, end_s, t_s)


def _on_cadence(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.tests)
    if sensor is None or sensor.optical is None or not 60 <= draft.world.cadence.at(t_s) <= 200:
        return None
    end_s = t_s + noise.uniform(120, 240)
    multiple = 2.0 if draft.world.cadence.at(t_s) < 100 and noise.chance(0.5) else 1.0
    locked = optical_packets(
        replace(sensor.optical, noise_bpm=0.5),
        draft.world,
        noise,
        (max(t_s - 60, 1), end_s),
        troubles=[Trouble(TroubleKind.ON_CADENCE, t_s, end_s, multiple)],
        beats=sensor.beats,
    )

    def shown(s: float) -> bool:
        rhythm = multiple * draft.world.cadence.at(s)
        value = next((p.bpm for p in locked if p.t_s >= s), 0)
        return abs(value - rhythm) <= 3 and draft.off(rhythm, s)

    seen = [s for s in range(int(t_s), int(end_s)) if shown(s)]
    # Where heart and cadence are about the same, nothing is wrong that anybody could see.
    if len(seen) < 0.7 * (end_s - t_s) - 20 or end_s - seen[0] < 70:
        return None
    sensor.packets = spoil.spliced(sensor.packets, locked, t_s, end_s)
    kind = "on cadence, counted" if draft.counts else "on cadence, not counted"
    return Fault(kind, sensor.number, seen[0], end_s, t_s)


def _apart(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.tests)
    if sensor is None:
        return None
    end_s = t_s + noise.uniform(120, 300)
    factor = noise.uniform(0.7, 0.84) if noise.chance(0.6) else noise.uniform(1.16, 1.3)
    packets = spoil.scaled(sensor.packets, t_s, end_s, factor, 10)
    start_s = _outside(draft, packets, t_s, end_s)
    if start_s is None:
        return None
    sensor.packets = packets
    return Fault("apart", sensor.number, start_s, end_s, t_s)


def _missed(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.tests)
    begin_s = next((begin for begin, end in draft.world.script.efforts
                    if t_s <= begin < t_s + 200 and end - begin >= 100), None)  # fmt: skip
    if sensor is None or sensor.optical is None or begin_s is None:
        return None
    end_s = begin_s + noise.uniform(110, 200)
    missed = optical_packets(
        sensor.optical, draft.world, noise, (max(begin_s - 60, 1), end_s),
        troubles=[Trouble(TroubleKind.MISSED_EFFORT, begin_s, end_s)], beats=sensor.beats,
    )  # fmt: skip
    packets = spoil.spliced(sensor.packets, missed, begin_s, end_s)
    start_s = _outside(draft, packets, begin_s, end_s)
    if start_s is None or end_s - start_s < 80:
        return None
    sensor.packets = packets
    return Fault("missed effort", sensor.number, start_s, end_s, begin_s)


def _late(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    sensor = _pick(noise, draft.tests)
    if sensor is None or sensor.optical is None:
        return None
    end_s = min(t_s + noise.uniform(300, 480), draft.duration_s)
    behind = replace(sensor.optical, delay_s=noise.uniform(12, 25))
    late = optical_packets(
        behind, draft.world, noise, (max(t_s - 60, 1), end_s), beats=sensor.beats
    )
    # A delay shows when the heart has moved by more than the tolerance within it.
    start_s = spoil.first_time(
        t_s, end_s - 200, lambda s: draft.off(draft.true_bpm(s - behind.delay_s), s)
    )
    if start_s is None:
        return None
    sensor.packets = spoil.spliced(sensor.packets, late, t_s, end_s)
    return Fault("late", sensor.number, start_s, end_s, t_s)


def _wrong_reference(draft: Draft, noise: Noise, t_s: float) -> Fault | None:
    """The reference counts beats that are regular and not the wearer's, at another rate."""
    strap = draft.reference
    good = [one for one in draft.tests if not one.spoken_for]
    if strap.spoken_for or strap.strap is None or len(good) < 2:
        return None
    end_s = t_s + noise.uniform(120, 240)
    factor = noise.uniform(0.66, 0.84) if noise.chance(0.6) else noise.uniform(1.16, 1.35)
    rate = Trace(tuple(min(bpm * factor, 215.0) for bpm in draft.world.rate.values))
    beats = [ns / 1e9 for ns in beat_times(draft.world.wearer, rate, draft.duration_s, noise)]
    other = strap_packets(strap.strap, beats, t_s - 15, end_s, rate.at(t_s))
    packets = spoil.spliced(strap.packets, other, t_s, end_s)
    start_s = _outside(draft, packets, t_s, end_s)
    if start_s is None:
        return None
    strap.packets = packets
    return Fault("wrong reference", 1, start_s, end_s, t_s)


def _outside(draft: Draft, packets: Sequence[Packet], start_s: float, end_s: float) -> float | None:
    """When the first packet is outside the tolerance of the heart."""
    return next(
        (p.t_s for p in packets if start_s <= p.t_s < end_s and draft.off(p.bpm, p.t_s)), None
    )


MAKERS: Final[Sequence[Maker]] = (
    # Kinds that have several forms, or that seldom fit, stand here more than once.
    _silent, _silent, _thinning, _off, _off, _dry, _dry, _dry, _dry, _frozen, _on_cadence,
    _on_cadence, _on_cadence, _apart, _missed, _missed, _late, _wrong_reference, _wrong_reference,
)  # fmt: skip
