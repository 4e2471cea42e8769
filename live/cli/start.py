"""``sidebeat`` alone: the start page where there is a screen, else where to start in the terminal.

The page, and any window, may wish for another command when it closes; it is run here, and the start
page comes back behind what was begun from it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from live import preflight
from live.cli.output import program, say
from live.views.window.parts.wishes import START, taken
from replay.errors import SidebeatError

Run = Callable[[Sequence[str]], int]

_UNSEEN: Final = {"offscreen", "minimal"}
"""Platforms of Qt without a screen: nobody would see the page, and nothing would close it."""


def no_page() -> str:
    """Why the start page cannot be opened here, in a sentence; empty if it can."""
    if os.environ.get("QT_QPA_PLATFORM", "") in _UNSEEN:
        return "There is no screen here."
    return preflight.no_window()


def home(run: Run, opened: Callable[[str], int] | None = None) -> int:
    """Open the start page, and run what is chosen there, until it is closed.

    ``run`` carries out one command line.  ``opened``: shows the page with a sentence on what went
    wrong before.
    """
    show = opened or _open
    told = ""
    while True:
        status = show(told)
        wish = taken()
        if wish is None:
            return status
        told = ""
        try:
            after_wishes(wish, run)
        except SidebeatError as error:
            told = str(error)


def after_wishes(wish: tuple[str, ...] | None, run: Run) -> int:
    """Run a wish, and what is wished for behind it, until that is the start page or nothing."""
    status = 0
    while wish is not None and wish != START:
        status = run(wish)
        wish = taken()
    return status


def _open(told: str) -> int:
    from live.views.window.start.app import run_start  # noqa: PLC0415 - Qt, only where it is wanted

    return run_start((Path.cwd(), Path.cwd() / "captures"), told)


def tell_where_to_start(reason: str) -> None:
    """The first steps in a terminal."""
    say(
        f"\n{reason}  In this terminal, begin with one of:\n"
        f"  {program()} demo       an invented session, which needs no sensor\n"
        f"  {program()} ready      whether this computer can record\n"
        f"  {program()} sensors    who is in reach, as a plan to start from\n"
        f"  {program()} live --plan plan.toml --out captures"
    )
