"""Drawing a whole session from a seed."""

from __future__ import annotations

from benchmarks.fault_sim.draft import Draft, Session
from benchmarks.fault_sim.lasting import session_event, whole_session_fault
from benchmarks.fault_sim.passing import passing_faults
from live.simulated.noise import Noise


def draw_session(seed: int, *, with_faults: bool) -> Session:
    """The session of this seed, with faults or clean, 25 to 40 min long."""
    noise = Noise(seed, 99)
    draft = Draft(seed, noise.uniform(1500, 2400))
    if with_faults:
        whole_session_fault(draft, noise)
        passing_faults(draft, noise)
        session_event(draft, noise)
    return draft.finish(seed)
