"""A strap that sends RR intervals from a file: how the rules bear with a real heart."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path

from benchmarks.fault_sim.draft import Session
from benchmarks.fault_sim.packets import Packet, StrapBuild, strap_packets
from benchmarks.fault_sim.wire import Quirks, as_events, encoded, linked
from live.simulated.noise import Noise
from live.simulated.session import session_events
from replay.errors import SidebeatError
from replay.plan import Plan, PlannedSensor


def read_rr(path: Path) -> list[float]:
    """RR in ms, one a line.  Raises :class:`SidebeatError` naming the line."""
    intervals = []
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise SidebeatError(f"{path}: cannot be read: {error}") from None
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            value = float(line)
        except ValueError:
            raise SidebeatError(f"{path}, line {number}: not an RR interval in ms") from None
        if not 0 < value < 64_000:
            raise SidebeatError(f"{path}, line {number}: {value} ms cannot be sent as RR")
        intervals.append(value)
    if len(intervals) < 2:
        raise SidebeatError(f"{path}: fewer than two RR intervals")
    return intervals


def recorded_session(path: Path) -> Session:
    """A session whose strap sends these intervals, once a second, with the bpm of their mean.

    Beside it an optical sensor that follows the median of the last nine intervals, 3 s late.
    """
    beats = list(accumulate((rr / 1000 for rr in read_rr(path)), initial=0.5))
    end_s = beats[-1] + 1.0
    start_bpm = 60.0 / (beats[1] - beats[0])
    strap = strap_packets(StrapBuild(1.0, 5, False, True), beats, 0.5, end_s, start_bpm)
    follow = strap_packets(StrapBuild(1.0, 9, True, False), beats, 0.5, end_s, start_bpm)
    follower = [Packet(p.t_s + 3.0, p.bpm) for p in follow if p.t_s + 3.0 < end_s]
    plan = Plan(
        wearer="R1",
        activity=path.stem,
        sensors=(
            PlannedSensor(label="Strap", role="reference", placement="chest", name="strap"),
            PlannedSensor(label="Follower", role="test", placement="left wrist", name="follower"),
        ),
    )
    events = list(session_events(end_s, 0))
    sent: tuple[Sequence[Packet], ...] = (strap, follower)
    for number, packets in enumerate(sent, 1):
        noise = Noise(1, number)
        rows = encoded(packets, Quirks(), noise)
        events += as_events(linked(rows, noise, identity=f"recorded-{number}", asked_s=0.0), number)
    events = [event for event in events if event.t_ns <= end_s * 1e9]
    events.sort(key=lambda event: event.t_ns)
    return Session(0, plan, end_s, events, ())
