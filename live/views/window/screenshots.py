"""Pictures of the window, made from a capture: ``python -m live.views.window.screenshots FILE``.

Drawn offscreen, so that the pictures of the documentation can be made again on any machine.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from PySide6.QtCore import QSize
from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QApplication

from live.protocol.feed import Feed, Message
from live.protocol.file_feed import FileFeed
from live.views.window.app import window_on
from live.views.window.live.main_window import MainWindow
from live.views.window.parts.application import open_application
from live.views.window.parts.keys import Action
from live.views.window.parts.theme import DARK, LIGHT, THEMES, Theme
from replay.demo_files import demo_captures
from replay.errors import SidebeatError

PICTURES: Final = Path("docs") / "pictures"

SIZES: Final = {"1280x720": (1280, 720), "1920x1080": (1920, 1080), "2560x1440": (2560, 1440)}


@dataclass(frozen=True, slots=True)
class Picture:
    """What one picture shows.  ``actions``: what the user does before it is taken.

    ``player``: with the controls of a replay; without them it looks as while recording.
    """

    size: tuple[int, int] = (1280, 720)
    theme: Theme = LIGHT
    far: bool = False
    actions: tuple[Action, ...] = ()
    cautions: bool = True
    player: bool = True


class _Watched:
    """A player that the window takes for a capture."""

    is_live: Final = True
    silent_s: Final = 0.0

    def __init__(self, feed: FileFeed) -> None:
        self._feed = feed
        self.plan = feed.plan
        self.title = feed.title
        self.started_utc_ns = feed.started_utc_ns

    def poll(self) -> list[Message]:
        return self._feed.poll()

    def send(self, action: str, **values: str | int) -> int:
        return self._feed.send(action, **values)

    def close(self) -> None:
        self._feed.close()


def screenshot(source: Feed | Path, at_s: float, picture: Picture) -> QPixmap:
    """The window at ``at_s`` seconds into a capture.

    ``source``: a capture file, or a feed that has something to give until it is paused.
    Raises :class:`~replay.errors.SidebeatError` if the file or Qt cannot be used.
    """
    open_application()
    feed: Feed = FileFeed(source, speed=None) if isinstance(source, Path) else source
    if isinstance(feed, FileFeed):
        feed.pause()
        feed.seek(round(at_s * 1e9))
    if isinstance(feed, FileFeed) and not picture.player:
        feed = as_recorded(feed)
    window = window_on(feed, picture.theme)
    window.resize(QSize(*picture.size))
    window.cautions.setVisible(picture.cautions)
    window.show()
    window.workbench.chart.setFocus()
    _settle(window)
    for action in picture.actions:
        window.do(action)
        _settle(window)
    if picture.far:
        window.do(Action.FAR)
    taken = drawn(window)
    faults = window.faults
    window.leave()
    if faults.count:
        raise SidebeatError(f"the picture is not whole: {faults.last}")
    return taken


def drawn(window: MainWindow) -> QPixmap:
    """The window as it stands, once all that was asked for is on it."""
    _settle(window)
    for _ in range(3):  # what was laid out anew by an action is drawn in the next frame
        QApplication.processEvents()
        window.redraw()
        window.workbench.cards.settle()
        window.frame()
    QApplication.processEvents()
    return window.grab()


def as_recorded(feed: FileFeed) -> Feed:
    """The same feed, without the controls of a replay: it looks as while recording."""
    return _Watched(feed)


def _settle(window: MainWindow) -> None:
    """Wait for what is read in the background, and draw until nothing more comes."""
    if window.review is not None:
        window.review.settle()
    while window.frame():
        pass


def documentation_pictures(folder: Path) -> list[Path]:
    """Make the pictures that the documentation shows, from the demo recordings."""
    rowing, _, stairs = demo_captures()
    made = []
    for name, path, at_s, picture in (
        ("window", rowing, 885.0, Picture(actions=(Action.FIFTEEN,), cautions=False, player=False)),
        ("window-dark", stairs, 850.0, Picture(theme=DARK, cautions=False, player=False)),
        ("far-view", rowing, 885.0, Picture(far=True, cautions=False, player=False)),
        (
            "replay",
            rowing,
            800.0,
            Picture(
                size=(1920, 1080),
                actions=(Action.ALL, Action.NEXT_WARNING, Action.NOTIFICATIONS),
                cautions=False,
            ),
        ),
    ):
        made.append(folder / f"{name}.png")
        _save(screenshot(path, at_s, picture), made[-1])
    return made


def _save(picture: QPixmap, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    # Without transparency and packed tightly: a quality of 0 is the strongest compression of a PNG.
    flat = picture.toImage().convertToFormat(QImage.Format.Format_RGB888)
    if not flat.save(str(path), "PNG", 0):  # type: ignore[call-overload]
        raise SidebeatError(f"{path} could not be written")
    print(path)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pictures that were asked for; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m live.views.window.screenshots",
        description="Pictures of the window. Without FILE: those of the documentation.",
    )
    parser.add_argument("file", type=Path, nargs="?", help="a capture")
    parser.add_argument("--at", type=float, default=600.0, metavar="SECONDS", help="moment shown")
    parser.add_argument("--out", type=Path, default=PICTURES, help="folder for the pictures")
    parser.add_argument("--name", default="window", help="how the files' names begin")
    parser.add_argument("--size", choices=tuple(SIZES), action="append", help="default: all")
    parser.add_argument("--theme", choices=tuple(THEMES), action="append", help="default: all")
    parser.add_argument("--far", action="store_true", help="the far view")
    parser.add_argument("--text", type=int, default=0, help="steps of larger text")
    parser.add_argument("--turned", action="store_true", help="difference against mean")
    parser.add_argument("--span", choices=("1", "5", "15", "all"), default="5", help="minutes")
    given = parser.parse_args(arguments)
    if given.file is None:
        documentation_pictures(given.out)
        return 0
    actions = [Action(f"follow-{given.span}")] + [Action.LARGER] * given.text
    if given.turned:
        actions.append(Action.TURN_PLANE)
    for size in given.size or SIZES:
        for theme in given.theme or THEMES:
            wanted = Picture(SIZES[size], THEMES[theme], given.far, tuple(actions))
            taken = screenshot(given.file, given.at, wanted)
            _save(taken, given.out / f"{given.name}-{theme}-{size}.png")
    return 0


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    try:
        sys.exit(main())
    except SidebeatError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
