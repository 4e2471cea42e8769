"""Set-up pages with played helper processes."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PySide6.QtCore import QEvent, Qt, QTimer
from PySide6.QtWidgets import QApplication, QWidget

from live.setup.checks import Check, State
from live.setup.subprocesses import LineSubprocess
from live.views.window.parts.application import open_application
from live.views.window.setup.window import SetupWindow
from replay.plan import Plan, PlannedSensor

PATIENCE_S = 45.0
ADDRESSES = {
    name: f"C0:00:00:00:00:0{n}" for n, name in enumerate(("Yarrow", "Sorrel", "Tansy"), 1)
}


def stop_frames(window: QWidget) -> None:
    """Let the window draw only when the test asks for a frame."""
    for timer in window.findChildren(QTimer, options=Qt.FindChildOption.FindDirectChildrenOnly):
        timer.stop()


def row(name: str, **more: object) -> dict[str, object]:
    """What the listening process says of one sensor."""
    return {
        "address": ADDRESSES[name],
        "name": name,
        "services": ["heart rate"],
        "signal_dbm": -60,
        **more,
    }


class PlayedChild:
    """A helper that says what a test wants."""

    def __init__(self, *lines: dict[str, Any]) -> None:
        self.lines = list(lines)
        self.gone = False
        self.told: list[dict[str, Any]] = []

    def say(self, facts: dict[str, Any]) -> None:
        self.told.append(facts)

    @property
    def status(self) -> int | None:
        return 0 if self.gone and not self.lines else None

    def poll(self) -> list[dict[str, Any]]:
        lines, self.lines = self.lines, []
        return lines

    def let_go(self) -> None:
        self.gone = True


class PlayedRehearsal:
    """A rehearsal whose checks a test sets."""

    def __init__(self, plan: Plan, out: Path | None, minutes: float | None) -> None:
        self.plan, self.out, self.minutes = plan, out, minutes
        self.problem = self.refusal = ""
        self.recording = None
        self.is_heard = True
        self.is_beginning = False
        self.again: list[int] = []
        self.stopped = False
        self.checks = [
            Check("contact", "Yarrow (reference): contact", State.READY, "Well.", 1.0, 1),
            Check("heard 2", "Sorrel: heard", State.PROBLEM, "Not heard.", 0.0, 2),
        ]

    def poll(self) -> None: ...

    def results(self, _folder):
        return tuple(self.checks)

    def record(self) -> None:
        self.is_beginning = True

    def connect(self, sensor: int) -> None:
        self.again.append(sensor)

    def stop(self) -> None:
        self.stopped = True


def strap_and_wrist() -> tuple[PlannedSensor, PlannedSensor]:
    """Two simulated sensors that work well."""
    return (
        PlannedSensor(
            label="Yarrow",
            role="reference",
            placement="chest",
            source="simulated",
            kind="strap",
        ),
        PlannedSensor(
            label="Sorrel", role="test", placement="left wrist", source="simulated", kind="wrist"
        ),
    )


def practice_plan() -> Plan:
    """A plan of simulated sensors."""
    return Plan(wearer="W1", activity="rowing ergometer", sensors=strap_and_wrist(), invented=True)


@contextmanager
def setup_page(
    out: Path | None, *rows: dict[str, object], size: tuple[int, int] = (1280, 720), **more: object
) -> Iterator[tuple[SetupWindow, PlayedChild]]:
    """A set-up page that has heard these sensors; its timer stands still."""
    open_application()
    children: list[PlayedChild] = []

    def listen() -> LineSubprocess:
        children.append(PlayedChild({"sensors": list(rows)}))
        return children[-1]  # type: ignore[return-value]

    window = SetupWindow(out, listen=listen, **more)  # type: ignore[arg-type]
    window.resize(*size)
    window.show()
    window.activateWindow()
    window.start()
    stop_frames(window)
    window.frame()
    QApplication.processEvents()
    try:
        yield window, children[0]
    finally:
        window.close()
        if window.rehearsal is not None and hasattr(window.rehearsal, "wait_for_end"):
            window.rehearsal.wait_for_end(PATIENCE_S)
        window.deleteLater()
        QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def until(step: Callable[[], object], condition: Callable[[], object], what: str) -> None:
    """Let time pass until a condition holds."""
    give_up = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < give_up, f"no {what}"
        step()
        QApplication.processEvents()
        time.sleep(0.05)
