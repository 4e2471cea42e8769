"""Windows on scripted feeds, drawn offscreen and closed again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from PySide6.QtCore import QEvent, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget

from live.protocol.feed import Message, Tick
from live.views.window.live.main_window import MainWindow
from live.views.window.parts.application import open_application
from live.views.window.parts.theme import LIGHT, Theme
from replay.event import NS_PER_S
from replay.plan import Plan
from tests.standins.feeds import PLAN, ScriptedFeed, beat


class PushedFeed(ScriptedFeed):
    """Hands over what was pushed since the last poll."""

    def __init__(self, *, plan: Plan = PLAN, is_live: bool = True) -> None:
        super().__init__([], plan=plan, is_live=is_live)
        self.waiting: list[Message] = []

    def poll(self) -> list[Message]:
        messages, self.waiting = self.waiting, []
        return messages


@contextmanager
def shown(
    messages: Iterable[Message] = (),
    *,
    plan: Plan = PLAN,
    is_live: bool = True,
    theme: Theme = LIGHT,
    size: tuple[int, int] = (1280, 720),
) -> Iterator[tuple[MainWindow, PushedFeed]]:
    """A window on a feed, after its first picture; closed without asking.

    Nothing is painted before that: what a window without a frame looks like is one test's matter.
    """
    open_application()
    feed = PushedFeed(plan=plan, is_live=is_live)
    window = MainWindow(feed, theme)
    window.resize(*size)
    window.show()
    window.activateWindow()
    feed.waiting += messages
    _draw(window)
    try:
        yield window, feed
    finally:
        if window.dialog is not None:
            window.dialog.blockSignals(True)
            window.dialog.close()
        window.leave()
        window.deleteLater()
        QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def picture(window: MainWindow) -> None:
    """Draw now, as the frame timer would."""
    QApplication.processEvents()  # what was shown or made larger has its room first
    _draw(window)


def _draw(window: MainWindow) -> None:
    window.redraw()
    window.frame()
    QApplication.processEvents()


def press(widget: QWidget, key: str) -> None:
    """Press one key or chord, written as ``Ctrl+M``."""
    *held, last = key.split("+") if key != "+" else ["+"]
    modifiers = Qt.KeyboardModifier.NoModifier
    for name in held:
        modifiers |= getattr(Qt.KeyboardModifier, {"Ctrl": "Control"}.get(name, name) + "Modifier")
    names = {"+": "Plus", "-": "Minus", "=": "Equal", "?": "Question", ".": "Period", ",": "Comma"}
    code = names.get(last, last)
    QTest.keyClick(widget, getattr(Qt.Key, f"Key_{code}"), modifiers)
    QApplication.processEvents()


def session(seconds: int, *, silent: range = range(0)) -> list[Message]:
    """Reference and test sensor once a second; the test sensor says nothing in ``silent``."""
    messages: list[Message] = []
    for second in range(seconds):
        messages.append(beat(second + 0.1, 1, 100 + second % 40))
        if second not in silent:
            messages.append(beat(second + 0.3, 2, 103 + second % 40))
        messages.append(Tick(round((second + 0.9) * NS_PER_S)))
    return messages
