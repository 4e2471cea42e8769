"""Pictures of the window, made from a capture: ``python -m live.views.window.screenshots FILE``.

Drawn offscreen, so that the pictures of the documentation can be made again on any machine.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QApplication

from live.protocol.feed import CaptureStatus, Feed, Message
from live.protocol.file_feed import FileFeed
from live.views.window.app import window_on
from live.views.window.live.main_window import MainWindow
from live.views.window.parts.application import open_application
from live.views.window.parts.keys import Action
from live.views.window.parts.preferences import Preferences, PreferenceStore
from live.views.window.parts.theme import DARK, LIGHT, THEMES, Theme
from live.views.window.start.window import StartWindow
from live.views.window.study.keys import Ask
from live.views.window.study.picture import invented_study, picture_of
from replay.demo_files import demo_captures, demo_folder
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
        self._has_told = False

    def poll(self) -> list[Message]:
        messages = self._feed.poll()
        if messages and not self._has_told:
            self._has_told = True
            count = self._feed.capture.event_count
            path = str(Path("captures") / self.title)
            messages.insert(0, CaptureStatus(path, count, count, 0.2, 1))
        return messages

    def send(self, action: str, **values: str | int) -> int:
        return self._feed.send(action, **values)

    def close(self) -> None:
        self._feed.close()


def screenshot(source: Feed | Path, at_s: float, picture: Picture) -> QPixmap:
    """The window at ``at_s`` seconds into a capture.

    ``source``: a capture file, or a feed that has something to give until it is paused.
    Raises :class:`~replay.errors.SidebeatError` if the file or Qt cannot be used.
    """
    with session_window(source, at_s, picture) as window:
        window.resize(QSize(*picture.size))
        return drawn(window)


@contextmanager
def session_window(source: Feed | Path, at_s: float, picture: Picture) -> Iterator[MainWindow]:
    """The window of :func:`screenshot`, of any size, closed behind it."""
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
    settle(window)
    for action in picture.actions:
        window.do(action)
        settle(window)
    if picture.far:
        window.do(Action.FAR)
        window.setWindowState(Qt.WindowState.WindowNoState)  # of the size that was asked for
    try:
        yield window
    finally:
        window.leave()
    if window.faults.count:
        raise SidebeatError(f"the picture is not whole: {window.faults.last}")


def drawn(window: MainWindow) -> QPixmap:
    """The window as it stands, once all that was asked for is on it."""
    draw(window)
    return window.grab()


def draw(window: MainWindow) -> None:
    """Bring all that was asked for onto the window."""
    settle(window)
    for _ in range(3):  # what was laid out anew by an action is drawn in the next frame
        QApplication.processEvents()
        window.redraw()
        window.frame()
    QApplication.processEvents()


def as_recorded(feed: FileFeed) -> Feed:
    """The same feed, without the controls of a replay: it looks as while recording."""
    return _Watched(feed)


def settle(window: MainWindow) -> None:
    """Wait for what is read in the background, and draw until nothing more comes."""
    if window.review is not None:
        window.review.settle()
    while window.frame():
        pass


@contextmanager
def start_window(theme: Theme = LIGHT) -> Iterator[StartWindow]:
    """The start page with the demo recordings, closed behind it."""
    open_application()
    with tempfile.TemporaryDirectory() as folder:
        store = PreferenceStore(Path(folder) / "window.toml")
        store.keep(Preferences(theme=theme.name, folder=folder))
        window = StartWindow(store, [demo_folder()], theme=theme)
        window.show()
        window.start()
        window.settle()
        try:
            yield window
        finally:
            window.close()


END: Final = Picture(cautions=False, player=False)
"""The page behind the end of a recording is what is shown"""
AT_THE_END_S: Final = 1e6
"""past it."""


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
        save(screenshot(path, at_s, picture), made[-1])
    with start_window() as window:
        window.resize(1280, 720)
        for _ in range(3):
            QApplication.processEvents()
        start = window.grab()
    study = picture_of(invented_study(), asks=(Ask.NEXT_SENSOR,))
    end = screenshot(rowing, AT_THE_END_S, END)
    for name, taken in (("start", start), ("end", end), ("study", study)):
        made.append(folder / f"{name}.png")
        save(taken, made[-1])
    return made


def save(picture: QPixmap, path: Path) -> None:
    """Write a picture, and its name to stdout."""
    path.parent.mkdir(parents=True, exist_ok=True)
    # Without transparency and packed tightly: a quality of 0 is the strongest compression of a PNG.
    flat = picture.toImage().convertToFormat(QImage.Format.Format_RGB888)
    if not flat.save(str(path), "PNG", 0):  # type: ignore[call-overload]
        raise SidebeatError(f"{path} could not be written")
    print(path, flush=True)


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
            save(taken, given.out / f"{given.name}-{theme}-{size}.png")
    return 0


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    try:
        sys.exit(main())
    except SidebeatError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
