"""Two simulated sensors that are recorded by a real process, and a view that follows it."""

from __future__ import annotations

import time

from live.protocol.view_model import ViewModel
from replay.plan import Plan, PlannedSensor

PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    invented=True,
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap"),
        PlannedSensor(label="Sorrel", role="test", source="simulated", kind="wrist"),
    ),
)
PATIENCE_S = 45.0


def until(model: ViewModel, found, patience_s: float = PATIENCE_S) -> float:
    """Pump as a view does until this holds; seconds that it took."""
    began = time.monotonic()
    while not found():
        assert time.monotonic() - began < patience_s, (model.alarm, model.status, model.ended)
        model.pump()
        time.sleep(0.02)
    return time.monotonic() - began


def recording(model: ViewModel, events: int = 20) -> None:
    """Wait until so many events more are on the disk."""
    before = model.status.saved if model.status is not None else 0
    until(model, lambda: model.status is not None and model.status.saved > before + events)
