"""The pictures of one activity: lanes and what they say, planes of one sensor, grid of sessions."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

from PySide6.QtCore import QRect, QSize, Qt, Signal
from PySide6.QtGui import QFont, QResizeEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QPlainTextEdit,
    QSplitter,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from analysis.report.study.shown import places_shown
from analysis.report.study.study_view import StudyView
from analysis.report.words import INVENTED
from analysis.study.study import Activity, Study
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.key_buttons import tool_button
from live.views.window.parts.plain_text import ElidedLabel, Label, lines
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.study.keys import ASK_KEYS, TABS
from live.views.window.study.lane_plot import LanePlot
from live.views.window.study.lanes import (
    Lanes,
    SensorLook,
    arm_lanes,
    difference_lanes,
    firmware_lanes,
    looks_of,
    ranking_lanes,
)
from live.views.window.study.pooled_planes import PooledPlane
from live.views.window.study.session_grid import SessionGrid
from live.views.window.study.words import (
    Beside,
    Tab,
    claim_text,
    head_of,
    joined,
    paragraphs,
)

_PLANES: Final = 0.42
"""Share of the width that the planes take at most,"""
_SQUARE: Final = 0.62
"""and of the height that the upper one does."""
_GRID: Final = 0.35
"""Share of the height that the grid of sessions takes at most,"""
_SAID: Final = 0.28
"""and the sentences,"""
_LINES_SAID: Final = 20
"""and so many lines of them."""


class Pictures(QWidget):
    """``opened``: a session is to be replayed; ``pointed``: what the session says that the mouse or
    the keyboard is at, empty for none.
    """

    opened = Signal(object)
    pointed = Signal(str)

    def __init__(self, faults: DrawingFaults, view: StudyView, beside: Beside) -> None:
        super().__init__()
        self._view, self._beside = view, beside
        self.theme = LIGHT
        self.tab = Tab.RANKING
        self.zoomed = False
        self.sensor = ""
        self._study: Study | None = None
        self._activity: Activity | None = None
        self._looks: dict[str, SensorLook] = {}
        self._is_shared_by_hand = False
        self.claim = ElidedLabel()
        self.claim.setObjectName("claim")
        self.claim.setAccessibleName("What may be claimed")
        self.plot = LanePlot(faults)
        self.words = _Sentences()
        self.grid = SessionGrid()
        self.name = ElidedLabel()
        self.name.setObjectName("name")
        self.icon = Label()
        self.plane = PooledPlane(faults, turned=False)
        self.differences = PooledPlane(faults, turned=True)
        self._build()
        for part in (self.plot, self.grid):
            part.opened.connect(self.opened)
            part.chosen.connect(self.choose)
            part.pointed.connect(self.pointed)

    def _build(self) -> None:
        row = _Row()
        flow = row.flow
        self.tabs: dict[Tab, QToolButton] = {}
        for key in ASK_KEYS:
            if key.action not in TABS:
                continue
            tab = TABS[key.action]
            button = tool_button(key, lambda ask: self.turn_to(TABS[ask]))
            button.setText(tab)
            button.setCheckable(True)
            button.setVisible(tab is not Tab.PLAN or self._beside.plan is not None)
            flow.addWidget(button)
            self.tabs[tab] = button
        left = _Column(self._share_left)
        for part, share in ((self.plot, 5), (self.words, 3), (self.grid, 3)):
            left.addWidget(part)
            left.setStretchFactor(left.count() - 1, share)
        right = QSplitter(Qt.Orientation.Vertical)
        for part, share in ((self.plane, 3), (self.differences, 2)):
            right.addWidget(part)
            right.setStretchFactor(right.count() - 1, share)
        for splitter in (left, right):
            splitter.setChildrenCollapsible(False)
        across = QSplitter(Qt.Orientation.Horizontal)
        across.setChildrenCollapsible(False)
        head = QWidget()
        named = QHBoxLayout(head)
        named.setContentsMargins(0, 0, 0, 0)
        named.addWidget(self.icon)
        named.addWidget(self.name, 1)
        across.addWidget(_column(row, left))
        across.addWidget(_column(head, right))
        self._across, self._right, self._left = across, right, left
        for splitter in (across, right, left):
            splitter.splitterMoved.connect(self._keep_shares)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(self.claim)
        layout.addWidget(across, 1)

    def _keep_shares(self) -> None:
        """From now on the room is shared as the user did."""
        self._is_shared_by_hand = True

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The plane is about square, and what is left of its column goes to the differences."""
        super().resizeEvent(event)
        if self._is_shared_by_hand:
            return
        wide, high = self.width(), self.height()
        side = round(min(_PLANES * wide, _SQUARE * high))
        self._across.setSizes([wide - side, side])
        self._right.setSizes([side, max(high - side, 1)])

    def _share_left(self) -> None:
        """The grid is as high as its sensors, what is said is read at a glance, and the lanes have
        the rest; whatever the words are, so that nothing moves with another sensor.
        """
        if self._is_shared_by_hand or not self.grid.grid.rowCount():
            return
        high = self._left.height()
        grid = min(self.grid.whole_height, round(_GRID * high))
        line = self.words.fontMetrics().lineSpacing()
        said = min(round(_SAID * high), _LINES_SAID * line, self._longest_said(line))
        self._left.setSizes([max(high - grid - said, 1), said, grid])

    def _longest_said(self, line: int) -> int:
        """Height of the longest text of any sensor on this tab."""
        if self._activity is None or self._study is None:
            return line
        width = self.words.viewport().width() - 2 * line
        of = partial(self.words.fontMetrics().boundingRect, QRect(0, 0, width, 10**6))
        wrapped = int(Qt.TextFlag.TextWordWrap)
        heights = [
            of(wrapped, lines(joined(said))).height()
            for name in self._names()
            if (said := paragraphs(self._study, self._activity, self.tab, name, self._beside))
        ]
        return max(heights, default=0) + 2 * line

    # What is shown

    def show_activity(self, study: Study, activity: Activity) -> None:
        """Show an activity, with the sensor that was chosen before if it is there."""
        self._study, self._activity = study, activity
        self._looks = looks_of(activity, self._view)
        names = self._names()
        if self.sensor not in names:
            self.sensor = names[0] if names else ""
        self.zoomed = False
        self.grid.show_activity(activity, self._names(), self._looks)
        self._share_left()
        self._tell_claims(activity)
        self._draw_lanes()
        self._draw_planes()

    def _names(self) -> list[str]:
        if self._activity is None:
            return []
        return [place.name for place in places_shown(self._activity, self._view)]

    def _tell_claims(self, activity: Activity) -> None:
        mark = f"{INVENTED} · " if any(row.invented for row in activity.sessions) else ""
        self.claim.setText(f"{mark}{head_of(activity)} {claim_text(activity)}")

    def _lanes(self, activity: Activity) -> Lanes:
        match self.tab:
            case Tab.FIRMWARE:
                return firmware_lanes(activity, self._view)
            case Tab.ARMS:
                return arm_lanes(activity, self._view)
            case Tab.DIFFERENCES:
                return difference_lanes(activity, self._view)
            case _:
                return ranking_lanes(activity, self._view, zoomed=self.zoomed)

    def _draw_lanes(self) -> None:
        if self._activity is None or self._study is None:
            return
        lanes = self._lanes(self._activity)
        for tab, button in self.tabs.items():
            button.setChecked(tab is self.tab)
        self.plot.setVisible(self.tab not in (Tab.APART, Tab.PLAN) and bool(lanes.lanes))
        self.plot.show_lanes(lanes, self.sensor, self.theme)
        self._tell()

    def _tell(self) -> None:
        if self._activity is not None and self._study is not None and self.sensor:
            said = paragraphs(self._study, self._activity, self.tab, self.sensor, self._beside)
            self.words.setPlainText(lines(joined(said)))

    def _draw_planes(self) -> None:
        if self._activity is None or not self.sensor:
            return
        self.name.setText(f"{self.sensor}: pairs of all its sessions")
        self.icon.setPixmap(self.grid.grid.icon(self._looks[self.sensor]))
        for plane in (self.plane, self.differences):
            plane.show_sensor(self._activity, self.sensor, self.theme, band=self._view.band)

    # What the user does

    def turn_to(self, tab: Tab) -> None:
        """Show other lanes, and what they say."""
        if tab is Tab.PLAN and self._beside.plan is None:
            return
        self.tab = tab
        self._share_left()
        self._draw_lanes()

    def zoom(self) -> None:
        """The better half of the ranking alone, or all of it."""
        self.zoomed = not self.zoomed
        self.turn_to(Tab.RANKING)

    def choose(self, sensor: str) -> None:
        """Show another sensor on the planes."""
        if sensor != self.sensor and sensor in self._names():
            self.sensor = sensor
            self.plot.show_chosen(sensor)
            self._tell()
            self._draw_planes()

    def step(self, step: int) -> None:
        """The next sensor, or the one before, in the order of the ranking."""
        names = self._names()
        if self.sensor in names:
            self.choose(names[(names.index(self.sensor) + step) % len(names)])

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Apply a theme, with text of this font's size."""
        self.theme = theme
        self.plot.apply_theme(theme, font)
        self.grid.apply_theme(theme, font)
        self.plane.apply_theme(theme, font)
        self.differences.apply_theme(theme, font)
        self._share_left()
        self._draw_lanes()
        self._draw_planes()


class _Row(QWidget):
    """Buttons that go on in a second row; a splitter asks only for the least height, which is that
    of both rows then.
    """

    def __init__(self) -> None:
        super().__init__()
        self.flow = FlowLayout(self)
        self.flow.setContentsMargins(0, 0, 0, 0)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """As high as its rows."""
        super().resizeEvent(event)
        self.setMinimumHeight(self.flow.heightForWidth(self.width()))


class _Column(QSplitter):
    """``share``: called when there is another height to be shared."""

    def __init__(self, share: Callable[[], None]) -> None:
        super().__init__(Qt.Orientation.Vertical)
        self._share = share

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Share it."""
        super().resizeEvent(event)
        self._share()


class _Sentences(QPlainTextEdit):
    """To read, to copy, and to scroll."""

    def __init__(self) -> None:
        super().__init__()
        self.setReadOnly(True)
        self.setTabChangesFocus(True)
        self.setAccessibleName("What it says")

    def sizeHint(self) -> QSize:
        """Some lines; the window gives more where it has it."""
        return self.minimumSizeHint()

    def minimumSizeHint(self) -> QSize:
        """Five lines of text."""
        line = self.fontMetrics().lineSpacing()
        return QSize(16 * line, round(5.5 * line))


def _column(*parts: QWidget) -> QWidget:
    column = QWidget()
    layout = QVBoxLayout(column)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(4)
    for part in parts:
        layout.addWidget(part, 1 if isinstance(part, QSplitter) else 0)
    return column
