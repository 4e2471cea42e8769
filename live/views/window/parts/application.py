"""The one Qt application of a process: whether it can be had, its theme, how Ctrl-C ends it."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from live import preflight
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

    from live.views.window.parts.theme import Theme

_DESKTOP_FILE: Final = "sidebeat"
INSTALL: Final = 'python -m pip install "sidebeat[window]"'


class WindowMissing(SidebeatError):
    """What the window needs is not installed, or cannot be used."""


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
    if (opened := _opened()) is not None:
        return opened
    require_window()
    from PySide6.QtGui import QFontInfo  # noqa: PLC0415 - known to be there now
    from PySide6.QtWidgets import QApplication  # noqa: PLC0415 - as above

    application = QApplication.instance() or QApplication(sys.argv[:1])
    if not isinstance(application, QApplication):
        raise WindowMissing("the window needs a graphical Qt application, another kind is running")
    application.setApplicationName("Sidebeat")
    if application.style().objectName() != "fusion":  # or all that is open would be styled anew
        application.setStyle("Fusion")
    # Without any font Qt raises nothing and draws boxes in place of letters.
    if not QFontInfo(application.font()).family():
        raise WindowMissing(
            "no font was found, so the window could show no text: install one "
            "(Debian: apt-get install fonts-dejavu-core)"
        )
    from live.views.window.parts.icon import program_icon  # noqa: PLC0415 - as above

    application.setWindowIcon(program_icon())
    application.setDesktopFileName(_DESKTOP_FILE)
    return application


def _opened() -> QApplication | None:
    """The application, if all is set already: to set it again would tell every open window."""
    widgets = sys.modules.get("PySide6.QtWidgets")
    running: QApplication | None = None if widgets is None else widgets.QApplication.instance()
    if widgets is None or not isinstance(running, widgets.QApplication):
        return None
    return running if running.desktopFileName() == _DESKTOP_FILE else None


def require_window() -> None:
    """Check that Qt and pyqtgraph are there and sound.  Raises :class:`WindowMissing`."""
    try:
        import pyqtgraph  # noqa: F401, PLC0415 - as below
        from PySide6 import QtWidgets  # noqa: F401, PLC0415 - whether it is there is the question
    except ImportError as error:
        raise WindowMissing(
            f"the window cannot be opened ({error}); install what it needs with: {INSTALL}"
        ) from None
    if complaint := preflight.broken_qt():
        raise WindowMissing(complaint)


def system_theme(application: QApplication) -> Theme:
    """The theme that this system prefers."""
    from PySide6.QtCore import Qt  # noqa: PLC0415 - known to be there now

    from live.views.window.parts.theme import DARK, LIGHT  # noqa: PLC0415 - as above

    return DARK if application.styleHints().colorScheme() is Qt.ColorScheme.Dark else LIGHT
