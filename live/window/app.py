"""Opening the window on a feed."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from live.views.feed import Feed
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

INSTALL: Final = 'python -m pip install "sidebeat[window]"'


class WindowMissing(SidebeatError):
    """What the window needs is not installed, or cannot be used."""


def run_window(feed: Feed) -> int:
    """Show a feed in a window until it is closed; returns the exit status.

    Raises :class:`WindowMissing` with the line that installs what is lacking.
    """
    application = open_application()
    from live.window.main_window import MainWindow  # noqa: PLC0415 - Qt, once it is known to be there
    from live.window.theme import DARK, LIGHT  # noqa: PLC0415 - as above

    window = MainWindow(feed, DARK if system_is_dark(application) else LIGHT)
    window.showMaximized()
    window.start()
    try:
        with interruptible(application):
            return application.exec()
    finally:
        window.leave()
        feed.close()


@contextmanager
def interruptible(application: QApplication) -> Iterator[None]:
    """Ctrl-C ends the application, unless this process was told to leave interrupts alone."""
    if _interrupts_are_ignored():
        yield
        return
    # Python sees Ctrl-C only between two calls from Qt; the frame timer makes those.
    before = signal.signal(signal.SIGINT, lambda *_: application.quit())
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _interrupts_are_ignored() -> bool:
    return signal.getsignal(signal.SIGINT) is signal.SIG_IGN


def open_application() -> QApplication:
    """The one Qt application of this process.  Raises :class:`WindowMissing`."""
    require_window()
    from PySide6.QtGui import QFontInfo  # noqa: PLC0415 - known to be there now
    from PySide6.QtWidgets import QApplication  # noqa: PLC0415 - as above

    application = QApplication.instance() or QApplication(sys.argv[:1])
    if not isinstance(application, QApplication):
        raise WindowMissing("the window needs a graphical Qt application, another kind is running")
    application.setApplicationName("Sidebeat")
    application.setStyle("Fusion")
    # Without any font Qt raises nothing and draws boxes in place of letters.
    if not QFontInfo(application.font()).family():
        raise WindowMissing(
            "no font was found, so the window could show no text: install one "
            "(Debian: apt-get install fonts-dejavu-core)"
        )
    return application


def require_window() -> None:
    """Check that Qt and pyqtgraph are there and sound.  Raises :class:`WindowMissing`."""
    try:
        import pyqtgraph  # noqa: F401, PLC0415 - as above
        import PySide6  # noqa: PLC0415 - whether it is there is the question
        from PySide6 import QtWidgets  # noqa: F401, PLC0415 - as above
    except ImportError as error:
        raise WindowMissing(
            f"the window cannot be opened ({error}); install what it needs with: {INSTALL}"
        ) from None
    problem = unusable(PySide6.__version__, sys.version_info[:2])
    if problem:
        raise WindowMissing(problem)


def unusable(pyside: str, python: tuple[int, ...]) -> str:
    """Why this PySide6 must not be used with this Python; empty if it may.

    From 6.12.0 on, on a Python below 3.12, each call that returns nothing takes a reference away
    from ``None``, and the process aborts after some five thousand of them.
    """
    version = tuple(int(part) for part in pyside.split(".")[:2])
    if version >= (6, 12) and python < (3, 12):
        return (
            f"PySide6 {pyside} aborts on Python {python[0]}.{python[1]} after some thousand calls; "
            f'install an older one with: python -m pip install "PySide6-Essentials>=6.8,<6.12"'
        )
    return ""


def system_is_dark(application: QApplication) -> bool:
    """Whether this system prefers light text on a dark ground."""
    from PySide6.QtCore import Qt  # noqa: PLC0415 - known to be there now

    return application.styleHints().colorScheme() is Qt.ColorScheme.Dark
