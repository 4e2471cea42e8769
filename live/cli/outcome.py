"""What is said of a capture that has ended: one line for the tester, the same for scripts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from replay.event import NS_PER_S

if TYPE_CHECKING:
    from live.capture.process import CaptureOutcome
    from replay.plan import Plan


def summary(outcome: CaptureOutcome) -> str:
    """One line about a capture that has ended."""
    minutes, seconds = divmod(outcome.duration_ns // NS_PER_S, 60)
    lasted = f"{minutes} min {seconds} s"
    if outcome.path is None:
        return f"Practice ended ({outcome.reason}) after {lasted}; nothing was saved."
    saved = f"Saved {outcome.saved} events of {lasted} to {outcome.path} ({outcome.reason})."
    clocks = [
        f"The clock of {one['clock']} is known to ±{int(one['bound_ns']) / 1e6:.1f} ms."
        for one in outcome.clocks
    ]
    return "  ".join([saved, *clocks])


def silence(outcome: CaptureOutcome, plan: Plan) -> str:
    """Nobody was heard: the newest sentence about each link, each once."""
    said = dict.fromkeys(outcome.advice.values())
    return "  ".join([f"none of the {len(plan.sensors)} planned sensors was ever heard.", *said])


def facts_of(outcome: CaptureOutcome, plan: Plan) -> dict[str, object]:
    """The same for scripts."""
    return {
        "capture": str(outcome.path) if outcome.path else None,
        "duration_s": round(outcome.duration_ns / NS_PER_S, 3),
        "events": outcome.events,
        "saved_events": outcome.saved,
        "reordered_events": outcome.reordered,
        "refused_events": outcome.refused,
        "not_heard": [
            {"sensor": sensor.label, "advice": outcome.advice.get(number, "")}
            for number, sensor in enumerate(plan.sensors, 1)
            if number not in outcome.heard
        ],
        "reason": outcome.reason,
        "problem": outcome.problem,
        "clocks": [
            {
                "clock": one["clock"],
                "offset_s": int(one["offset_ns"]) / NS_PER_S,
                "drift_ppm": int(one["drift_ppb"]) / 1000,
                "bound_ms": round(int(one["bound_ns"]) / 1e6, 3),
            }
            for one in outcome.clocks
        ],
    }
