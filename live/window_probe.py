"""Whether Qt can open a window on this screen, tried in a process of its own.

Where Qt's platform plugin cannot start (nobody answers on the display, a library is missing) it
raises nothing and calls ``abort()``.  So a child process tries first; what it said before it died
tells why.  Standard library only, as :mod:`live.preflight`, which asks.
"""

from __future__ import annotations

import atexit
import os
import subprocess
import sys

LONGEST_S = 15.0
"""A display that does not answer for so long (one of another computer that hangs) is none."""

TRIED = "from PySide6.QtGui import QGuiApplication as A; A([]).primaryScreen() or exit(3)"
"""What the child runs."""
_NO_SCREEN = 3

_begun: list[subprocess.Popen[str]] = []


def begin() -> None:
    """Start trying, so that the answer is there when it is asked for; at most one runs."""
    if _begun or not is_needed():
        return
    _begun.append(
        subprocess.Popen(
            [sys.executable, "-P", "-c", TRIED],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            errors="replace",
        )
    )


def is_needed() -> bool:
    """Only X and Wayland can fail so; other systems have their screen, ``offscreen`` needs none."""
    platform = os.environ.get("QT_QPA_PLATFORM", "")
    return sys.platform.startswith("linux") and platform.partition(":")[0] not in {
        "offscreen", "minimal", "vnc",
    }  # fmt: skip


def complaint() -> str:
    """What Qt said when no window could be opened, on one line; empty if one can."""
    if not is_needed():
        return ""
    begin()
    child = _begun.pop()
    try:
        _, said = child.communicate(timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        _end(child)
        return f"nothing answers within {LONGEST_S:.0f} s"
    if child.returncode == 0:
        return ""
    if child.returncode == _NO_SCREEN:
        return "the display has no screen"
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    if not lines:
        return f"Qt ended with status {child.returncode}"
    # Qt gives the cause first ("qt.qpa.xcb: could not connect to display :1"), then advice; Python
    # gives it last.
    cause = lines[-1] if lines[0].startswith("Traceback") else lines[0]
    return cause.removeprefix("qt.qpa.xcb: ").removeprefix("qt.qpa.plugin: ").rstrip(".")


def _end(child: subprocess.Popen[str]) -> None:
    child.kill()
    child.communicate()


@atexit.register
def _leave_none_behind() -> None:
    for child in _begun:
        _end(child)
    _begun.clear()
