"""Two simulated sensors that are recorded by a real process, and a view that follows it."""

from __future__ import annotations

import signal
import time

from live.protocol.view_model import ViewModel
from replay.capture.files import LOG, sidecar
from replay.plan import Plan, PlannedSensor
from tests.standins.running import RunningCapture

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
NO_ROOM = """\
import resource, signal
def fill(*_):
    resource.setrlimit(resource.RLIMIT_FSIZE, (30_000, resource.RLIM_INFINITY))
signal.signal(signal.SIGUSR1, fill)
"""
"""From a signal on, the kernel lets no log of a capture grow beyond 30 kB, nor a new file."""


def lively(times: float = 20.0) -> str:
    """Statements for a capture of which something must be recorded first: what its sensors say in
    so many seconds, they say in one.  All else goes at its own pace.
    """
    return (
        "from functools import partial\n"
        "from live.sources import simulated\n"
        f"simulated.SimulatedSource = partial(simulated.SimulatedSource, speed={times})\n"
    )


def fill_the_disk(running: RunningCapture, model: ViewModel) -> float:
    """Let no room be left, for a capture started with :data:`NO_ROOM`; seconds until it is told.

    Its log is as long as that already: the next commit finds the disk full.
    """
    log = sidecar(running.file(), LOG)
    until(model, lambda: log.stat().st_size > 30_000)
    running.signal(signal.SIGUSR1)
    return until(model, lambda: model.alarm is not None)


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
