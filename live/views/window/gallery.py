"""Every screen at three sizes, light and dark, with text of 100 and 200 %, to be looked at:
``python -m live.views.window.gallery``.

Each screen is opened once in a theme, and then made larger and smaller as a user would.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from functools import cache, partial
from pathlib import Path
from typing import Final

from PySide6.QtWidgets import QApplication

from analysis.study.study import Study
from live.views.window.live.main_window import MainWindow
from live.views.window.parts.keys import Action
from live.views.window.parts.preferences import SIZES as TEXT_SIZES
from live.views.window.parts.preferences import USUAL_SIZE
from live.views.window.parts.theme import THEMES, Theme
from live.views.window.screenshots import (
    AT_THE_END_S,
    SIZES,
    Picture,
    draw,
    save,
    session_window,
    start_window,
)
from live.views.window.setup.pictures import setup_window
from live.views.window.setup.window import SetupWindow
from live.views.window.start.window import StartWindow
from live.views.window.study.keys import TABS, Ask
from live.views.window.study.picture import invented_study, study_window
from live.views.window.study.window import StudyWindow
from replay.demo_files import demo_captures
from replay.errors import SidebeatError

Window = MainWindow | StartWindow | SetupWindow | StudyWindow
Opened = Callable[[Theme], AbstractContextManager[Window]]

TEXTS: Final = {100: USUAL_SIZE, 200: len(TEXT_SIZES) - 1}
"""Per cent of the usual size of text, and the place of that size."""


def screens(longest_s: float = math.inf) -> dict[str, Opened]:
    """How to open each screen in a theme, by its name in the gallery.  ``longest_s``: the study is
    of the first seconds of each session alone.
    """
    rowing, *_ = demo_captures()

    def session(
        at_s: float, *actions: Action, player: bool = False, far: bool = False
    ) -> Callable[[Theme], AbstractContextManager[MainWindow]]:
        return lambda theme: session_window(
            rowing,
            at_s,
            Picture(theme=theme, far=far, actions=actions, cautions=False, player=player),
        )

    def study(ask: Ask, theme: Theme) -> AbstractContextManager[StudyWindow]:
        return study_window(_study(longest_s), theme, asks=(ask,))

    return {
        "start": start_window,
        "set-up": setup_window,
        "checks": partial(setup_window, checks=True),
        "live": session(885.0),
        "far": session(885.0, far=True),
        "well": session(1120.0, far=True),
        "replay": session(800.0, Action.ALL, player=True),
        "bytes": session(800.0, Action.NOTIFICATIONS, player=True),
        "numbers": session(800.0, Action.NUMBERS, player=True),
        "notes": session(800.0, Action.NOTES, player=True),
        "end": session(AT_THE_END_S),
        **{f"study-{ask}": partial(study, ask) for ask in TABS if ask is not Ask.PLAN},
    }


@cache
def _study(longest_s: float) -> Study:
    """The invented study, worked out once."""
    return invented_study(longest_s)


def arrange(window: Window, size: tuple[int, int], percent: int) -> None:
    """Give a window a size in pixels and its text one in per cent, and let it draw itself."""
    if window.appearance.size != TEXTS[percent]:
        window.appearance.size = TEXTS[percent]
        window.apply_theme()
    window.resize(*size)
    for _ in range(4):  # what was laid out anew is painted in the next round
        QApplication.processEvents()
    if isinstance(window, MainWindow):
        draw(window)


def gallery(
    folder: Path,
    sizes: Sequence[str] = tuple(SIZES),
    themes: Sequence[str] = tuple(THEMES),
    chosen: Sequence[str] = (),
) -> list[Path]:
    """Make the pictures.  ``chosen``: these screens alone, by their names; none are all of them.

    Raises :class:`~replay.errors.SidebeatError` if one of the names is none of a screen, or a
    picture cannot be made.
    """
    every = screens()
    if unknown := set(chosen) - set(every):
        known = ", ".join(every)
        raise SidebeatError(f"{', '.join(sorted(unknown))}: no such screen; there are {known}")
    made = []
    for theme in themes:
        for name in chosen or every:
            with every[name](THEMES[theme]) as window:
                for percent in TEXTS:
                    for size in sizes:
                        arrange(window, SIZES[size], percent)
                        made.append(folder / f"{name}-{theme}-{size}-{percent}.png")
                        save(window.grab(), made[-1])
    return made


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pictures that were asked for; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m live.views.window.gallery",
        description="Pictures of every screen, to be looked at.",
    )
    parser.add_argument("--out", type=Path, required=True, help="folder for the pictures")
    parser.add_argument("--size", choices=tuple(SIZES), action="append", help="default: all")
    parser.add_argument("--theme", choices=tuple(THEMES), action="append", help="default: all")
    parser.add_argument("--screen", action="append", help="only this one; may be repeated")
    given = parser.parse_args(arguments)
    gallery(given.out, given.size or tuple(SIZES), given.theme or tuple(THEMES), given.screen or ())
    return 0


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    try:
        sys.exit(main())
    except SidebeatError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
