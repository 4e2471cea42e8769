"""Faults that last a whole session, and things that happen to the computer or a battery."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from benchmarks.fault_sim import spoil
from benchmarks.fault_sim.draft import Draft, Sensor
from benchmarks.fault_sim.faults import Fault
from live.simulated.noise import Noise
from replay import event
from replay.event import NS_PER_S, SESSION, Event, pack_int


def whole_session_fault(draft: Draft, noise: Noise) -> None:
    """In some sessions one sensor is not what it seems, from the start to the end."""
    if not noise.chance(0.4):
        return
    kinds: list[Callable[[], None]] = [
        lambda: _relay(draft, noise),
        lambda: _relay(draft, noise),
        lambda: _same(draft),
    ]
    if draft.reference.sends_rr:
        kinds.append(lambda: _unit_slip(draft, noise))
    kinds[int(noise.uniform(0, len(kinds)))]()


def _relay(draft: Draft, noise: Noise) -> None:
    relay = draft.tests[-1]
    source = draft.reference if noise.chance(0.7) else draft.tests[0]
    with_rr = source.sends_rr and noise.chance(0.6)
    delay_s = noise.uniform(0.3, 2.0)
    relay.packets = spoil.repeated(source.packets, noise, delay_s, with_rr=with_rr)
    relay.quirks = replace(relay.quirks, as_text=False)
    begin_s = relay.packets[0].t_s
    start_s: float | None = begin_s
    if not with_rr:
        before = draft.true_bpm(begin_s)
        start_s = spoil.first_time(
            begin_s, draft.duration_s, lambda s: abs(draft.true_bpm(s) - before) >= 10
        )
    kind = "relay with RR" if with_rr else "relay of bpm"
    _whole(draft, kind, relay, begin_s if start_s is None else start_s, (source.number,))
    source.spoken_for = True


def _same(draft: Draft) -> None:
    twin, source = draft.tests[-1], draft.tests[0]
    twin.packets, twin.same_as = source.packets, source.number
    twin.quirks = source.quirks
    twin.identity = source.identity
    source.spoken_for = True
    _whole(draft, "same sensor twice", twin, twin.packets[0].t_s, (source.number,))


def _unit_slip(draft: Draft, noise: Noise) -> None:
    factor = 1.024 if noise.chance(0.5) else 1 / 1.024
    strap = draft.reference
    strap.packets = spoil.slipped(strap.packets, factor)
    start_s = next(p.t_s for p in strap.packets if p.rr)
    _whole(draft, "unit slip", strap, start_s, ())


def _whole(draft: Draft, kind: str, sensor: Sensor, start_s: float, also: tuple[int, ...]) -> None:
    sensor.spoken_for = True
    began_s = sensor.packets[0].t_s
    draft.faults.append(Fault(kind, sensor.number, start_s, draft.duration_s, began_s, also))


def session_event(draft: Draft, noise: Noise) -> None:
    """Something happens to the computer, a battery or a signal."""
    if not noise.chance(0.5):
        return
    t_s = noise.uniform(240, draft.duration_s - 120)
    t_ns = round(t_s * 1e9)
    # A sensor that joins again tells its charge anew, so one whose link never breaks is taken.
    steady = [one.number for one in draft.sensors if not one.away]
    sensor = steady[int(noise.uniform(0, len(steady)))] if steady else SESSION
    kind = ("clock jump", "capture late", "disk full", "battery low", "signal weak")[
        int(noise.uniform(0, 5 if steady else 3))
    ]
    if kind == "clock jump":
        step_s = noise.uniform(1, 30) if noise.chance(0.5) else -noise.uniform(1, 600)
        rows = [(t_ns, SESSION, event.JUMP, pack_int(round(step_s * 1e9)))]
        end_s = t_s + 60
    elif kind == "capture late":
        late_ns = round(noise.uniform(0.5, 3) * 1e9)
        rows = [(t_ns, SESSION, event.LATE, pack_int(late_ns))]
        end_s = t_s + 60
    elif kind == "disk full":
        free = [round(noise.uniform(20e6, 150e6)) - k * 60_000 for k in range(60)]
        rows = [
            (t_ns + k * 60 * NS_PER_S, SESSION, event.DISK, pack_int(free[k])) for k in range(60)
        ]
        draft.disk_full_s = t_s
        end_s = draft.duration_s
    elif kind == "battery low":
        rows = [(t_ns, sensor, event.BATTERY, bytes([int(noise.uniform(1, 8))]))]
        end_s = draft.duration_s
    else:
        rows = [
            (
                t_ns + k * 4 * NS_PER_S,
                sensor,
                event.SIGNAL,
                int(noise.uniform(-101, -95)).to_bytes(1, "little", signed=True),
            )
            for k in range(30)
        ]
        end_s = t_s + 120
    where = sensor if kind in ("battery low", "signal weak") else SESSION
    draft.about_session += [Event(*row) for row in rows]
    draft.faults.append(Fault(kind, where, t_s, min(end_s, draft.duration_s), t_s))
