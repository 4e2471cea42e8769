"""Windows on capture files that a test plays, scrubs and annotates."""

from __future__ import annotations

from contextlib import contextmanager

from PySide6.QtCore import QEvent, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication

from live.protocol.file_feed import FileFeed
from live.views.window.app import window_on
from live.views.window.parts.application import open_application
from live.views.window.parts.keys import Action
from live.views.window.parts.span import Follow
from live.views.window.parts.theme import LIGHT
from replay.event import BATTERY, DOUBLED, HEART_RATE, NS_PER_S, Event
from tests.standins.feeds import two_sensors
from tests.standins.windows import press

LENGTH_S = 300


def events():
    """A session with a gap of the test sensor and one of the reference, and odd notifications."""
    kept = [
        event
        for event in two_sensors(LENGTH_S)
        if not (event.sensor == 2 and 60 <= event.t_ns / NS_PER_S < 90)
        and not (event.sensor == 1 and 150 <= event.t_ns / NS_PER_S < 190)
    ]
    kept += [
        Event(round(20.35 * NS_PER_S), 2, DOUBLED, bytes([0x06, 0x77])),
        Event(round(20.6 * NS_PER_S), 2, HEART_RATE, b"\x10"),
        Event(round(20.7 * NS_PER_S), 2, BATTERY, b"\x40"),
    ]
    return sorted(kept, key=lambda event: event.t_ns)


class Wall:
    """A clock that a test turns."""

    def __init__(self):
        self.now_ns = 0

    def __call__(self):
        return self.now_ns

    def pass_s(self, seconds):
        self.now_ns += round(seconds * NS_PER_S)


@contextmanager
def replayed(path, *, at_s=100.0, theme=LIGHT, size=(1280, 720)):
    """A window on a capture, paused, with everything that is read in the background read."""
    open_application()
    wall = Wall()
    feed = FileFeed(path, 1.0, clock=wall)
    feed.pause()
    feed.seek(round(at_s * NS_PER_S))
    window = window_on(feed, theme)
    window.wall = wall
    window.resize(*size)
    window.show()
    window.activateWindow()
    window.workbench.chart.setFocus()
    _draw_until_still(window)  # nothing is painted before there is something to be seen
    try:
        yield window
    finally:
        assert window.faults.count == 0, window.faults.last
        if window.review.annotations.dialog is not None:
            window.review.annotations.dialog.close()
        window.leave()
        window.deleteLater()
        QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def brought_back(window, at_s=100.0):
    """The same window as :func:`replayed` opens it, with the cursor at another second."""
    window.review.feed.pause()
    window.do(Action.WARNINGS)
    window.span.set_follow(Follow.FIVE)
    window.seen.selection = None
    window.header.say("")
    window.review.go_to(round(at_s * NS_PER_S))
    window.activateWindow()
    window.workbench.chart.setFocus()
    settle(window)
    return window


def settle(window):
    """Let the window do all that is waiting, and draw it."""
    QApplication.processEvents()  # what was shown or made larger has its room first
    _draw_until_still(window)


def _draw_until_still(window):
    window.redraw()
    for _ in range(3):
        window.review.settle()
        while window.review.is_travelling:
            window.frame()
        drew = window.frame()
        QApplication.processEvents()
        if not drew:
            break


def do(window, key):
    window.activateWindow()  # without a window manager a closed dialog leaves none active
    QApplication.processEvents()
    press(window.focusWidget() or window, key)
    settle(window)


def at(window):
    return window.review.feed.position_ns


def drag(widget, spot, modifiers=Qt.KeyboardModifier.NoModifier):
    """Move with the left button down."""
    event = QMouseEvent(
        QEvent.Type.MouseMove,
        QPointF(spot),
        QPointF(widget.mapToGlobal(spot)),
        Qt.MouseButton.NoButton,
        Qt.MouseButton.LeftButton,
        modifiers,
    )
    QApplication.sendEvent(widget, event)


def spot_at(window, second, *, axis=False):
    """Place on the chart's viewport of a second, in the traces or on the time axis."""
    chart = window.workbench.chart
    view = chart.bottom.vb if axis else chart.top.vb
    scene = view.mapViewToScene(view.viewRect().center())
    scene.setX(chart.top.vb.mapViewToScene(QPointF(second, 0)).x())
    if axis:
        scene.setY(chart.bottom.getAxis("bottom").sceneBoundingRect().center().y())
    return chart.mapFromScene(scene)
