"""A real X server without a monitor, and hands on its keyboard."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

LACKING = [name for name in ("Xvfb", "xdotool") if shutil.which(name) is None]
"""What a test on a real screen needs and is not here."""


class Screen:
    """``display``: its name.  Windows are found by their titles."""

    def __init__(self, display: str) -> None:
        self.display = display

    def environment(self, **more: str) -> dict[str, str]:
        """For a program that is to appear on it."""
        kept = {key: value for key, value in os.environ.items() if key != "QT_QPA_PLATFORM"}
        return {**kept, "DISPLAY": self.display, "QT_QPA_PLATFORM": "xcb", **more}

    def _ask(self, *arguments: str) -> str:
        done = subprocess.run(
            ["xdotool", *arguments],
            env=self.environment(),
            capture_output=True,
            text=True,
            timeout=20,
            check=False,
        )
        return done.stdout.strip()

    def window(self, title: str, *, within_s: float = 45.0) -> str:
        """The number of the window whose title matches, once it is there."""
        until = time.monotonic() + within_s
        while time.monotonic() < until:
            found = self._ask("search", "--onlyvisible", "--name", title).split()
            if found:
                return found[-1]
            time.sleep(0.2)
        raise AssertionError(f"no window {title!r} on {self.display}")

    def titles(self) -> list[str]:
        """Titles of all windows that can be seen."""
        numbers = self._ask("search", "--onlyvisible", "--name", ".").split()
        return [self._ask("getwindowname", number) for number in numbers]

    def press(self, window: str, *keys: str) -> None:
        """Press keys, by the names of X, in a window."""
        self._ask("windowfocus", "--sync", window)
        self.keys(*keys)

    def keys(self, *keys: str) -> None:
        """Press keys, in whatever has the keyboard."""
        for key in keys:
            self._ask("key", key)
            time.sleep(0.1)

    def type(self, text: str) -> None:
        """Type a text into what has the keyboard."""
        self._ask("type", "--delay", "8", text)
        time.sleep(0.1)

    def click(self, window: str, x: int, y: int, *, button: int = 1) -> None:
        """Press and release a button of the mouse at a place of a window."""
        self._ask("mousemove", "--sync", "--window", window, str(x), str(y))
        self._ask("click", str(button))
        time.sleep(0.2)

    def size(self, window: str) -> tuple[int, int]:
        """Width and height of a window."""
        lines = self._ask("getwindowgeometry", "--shell", window).splitlines()
        facts = dict(line.split("=", 1) for line in lines)
        return int(facts["WIDTH"]), int(facts["HEIGHT"])


@contextmanager
def x_screen(size: tuple[int, int] = (1280, 720)):
    """A screen of this size for as long as the block runs."""
    reading, writing = os.pipe()
    pixels = f"{size[0]}x{size[1]}x24"
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", pixels, "-nolisten", "tcp"],
        pass_fds=(writing,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as told:
            number = told.readline().strip()
        assert number, "Xvfb has named no display"
        yield Screen(f":{number}")
    finally:
        server.terminate()
        server.wait(timeout=10)


@contextmanager
def on_screen(screen: Screen, *arguments: str, folder, config):
    """``sidebeat`` with these arguments on a screen; killed if it is still there at the end.

    What it logs lies in ``log`` in the folder.
    """
    program = subprocess.Popen(
        [sys.executable, "-m", "live", *arguments],
        env=screen.environment(
            SIDEBEAT_CONFIG_DIR=str(config), SIDEBEAT_LOG_DIR=str(Path(folder) / "log")
        ),
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield program
    finally:
        if program.poll() is None:
            program.kill()
        program.communicate(timeout=20)
