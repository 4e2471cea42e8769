"""What is taken for granted of Qt, PySide6 and pyqtgraph."""

from __future__ import annotations

import gc
import subprocess
import sys

import pyqtgraph as pg
import pytest
from PySide6.QtGui import QFontInfo
from PySide6.QtWidgets import QApplication, QLabel

from live import preflight
from live.protocol.feed import Tick
from live.views.window.app import run_window
from live.views.window.parts import application
from live.views.window.parts.application import WindowMissing, open_application, require_window
from replay.event import NS_PER_S
from tests.standins.feeds import ScriptedFeed
from tests.standins.windows import shown


@pytest.mark.skipif(sys.version_info >= (3, 12), reason="None is immortal from 3.12 on")
def test_void_calls_leave_none_alone():
    """2,000 calls that return nothing take no reference from ``None``."""
    open_application()
    label = QLabel()
    before = sys.getrefcount(None)
    for i in range(2000):
        label.setText(str(i))
    assert abs(sys.getrefcount(None) - before) < 500


def test_the_broken_pyside_is_refused(monkeypatch):
    """With a PySide6 that crashes on this Python, the window says so instead of opening."""
    monkeypatch.setattr(preflight, "broken_qt", lambda: "PySide6 6.12 crashes on this Python")
    with pytest.raises(WindowMissing, match="crashes"):
        require_window()


def test_a_missing_extra_is_said_with_the_line_that_installs_it(monkeypatch):
    """Without PySide6 there is one sentence and the command, not a traceback."""
    monkeypatch.setitem(sys.modules, "pyqtgraph", None)
    with pytest.raises(WindowMissing, match=r'pip install "sidebeat\[window\]"'):
        require_window()


def test_there_is_a_font():
    """Qt draws boxes without a word when it finds no font."""
    assert QFontInfo(open_application().font()).family()


def test_plots_keep_our_settings():
    """Automatic ranges, menus and the Y mouse stay off after items were added and drawn."""
    with shown([Tick(5 * NS_PER_S)]) as (window, _):
        for plot in (
            window.workbench.chart.top,
            window.workbench.chart.middle,
            window.workbench.chart.bottom,
        ):
            plot.vb.addItem(pg.PlotCurveItem([0, 1], [0, 1e6]))
            QApplication.processEvents()
            assert plot.vb.autoRangeEnabled() == [False, False]
            assert plot.vb.mouseEnabled() == [True, False]
            assert not plot.vb.menuEnabled()
        assert window.workbench.chart.top.vb.viewRange()[1][1] < 1000


def test_axes_of_the_time_panels_are_equally_wide():
    """The panels share one axis, so their left edges must be in line."""
    with shown([Tick(5 * NS_PER_S)]) as (window, _):
        chart = window.workbench.chart
        lefts = {
            round(plot.vb.mapRectToScene(plot.vb.rect()).left())
            for plot in (chart.top, chart.middle, chart.bottom)
        }
        assert len(lefts) == 1


def test_running_shows_the_feed_until_the_window_is_closed(monkeypatch):
    """``run_window`` returns 0 after the last window is closed, and lets go of the feed."""
    feed = ScriptedFeed([[Tick(NS_PER_S)], [Tick(2 * NS_PER_S)]], is_live=False)
    open_application()
    from live.views.window.live import main_window

    gc.unfreeze()  # what the suite itself has set aside
    seen, frozen = [], []

    class Closing(main_window.MainWindow):
        def frame(self) -> bool:
            drew = super().frame()
            seen.append(self.model.snapshot().t_ns)
            frozen.append(gc.get_freeze_count())
            if len(seen) > 2:
                self.close()
            return drew

    monkeypatch.setattr(main_window, "MainWindow", Closing)
    assert run_window(feed) == 0
    assert feed.closed
    assert seen[-1] == 2 * NS_PER_S
    # While it runs no search for cycles goes over what stood before.
    assert frozen[0] == 0
    assert frozen[-1] > 10_000
    assert gc.get_freeze_count() == 0
    gc.freeze()  # as the suite had it


def test_a_handler_of_interrupts_that_ignores_them_is_left_alone(monkeypatch):
    """A window opened for a capture must not be closed by the Ctrl-C that is meant for it."""
    import signal

    monkeypatch.setattr(signal, "getsignal", lambda _: signal.SIG_IGN)
    set_to = []
    monkeypatch.setattr(signal, "signal", lambda *given: set_to.append(given))
    with application.interruptible(open_application()):
        pass
    assert set_to == []


def test_a_live_window_loads_no_radio_and_no_statistics():
    """What a first picture does not need is not loaded for it: scipy alone takes half a second."""
    told = subprocess.run(
        [sys.executable, "-c", _FIRST_PICTURE], check=True, capture_output=True, text=True
    )
    assert told.stdout.strip() == "[]"


_FIRST_PICTURE = """
import sys
from live.views.window.parts import application as app
app.open_application()
from live.views.window.live.main_window import MainWindow
from tests.standins.windows import PushedFeed, session
feed = PushedFeed()
feed.waiting = session(90)
window = MainWindow(feed)
window.show()
window.frame()
window.leave()
print(sorted({"bleak", "aiomqtt", "asyncio", "scipy", "rich"} & set(sys.modules)))
"""
