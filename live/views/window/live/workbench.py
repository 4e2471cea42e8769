"""The workbench: time panels and cards, warnings and agreement plane, and the cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QFont, QFontMetricsF, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QScrollArea,
    QSizePolicy,
    QSplitter,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from live.views.window.live.cards import CardColumn
from live.views.window.live.warnings_list import WarningsList
from live.views.window.parts.appearance import dress
from live.views.window.parts.chart import Chart
from live.views.window.parts.dialogs import CAUTIONS
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.overlay import OverlayState
from live.views.window.parts.plain_text import Label
from live.views.window.parts.plane import AgreementPlane
from live.views.window.parts.readout_strip import ReadoutStrip
from live.views.window.parts.theme import SensorStyle, Theme
from replay.plan import Plan


class Cautions(QFrame):
    """The cautions at the start, until they are dismissed."""

    def __init__(self) -> None:
        super().__init__()
        self.text = Label(CAUTIONS)
        self.text.setWordWrap(True)
        self.text.setAccessibleName("Cautions")
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.text.setSizePolicy(policy)
        self.dismiss = QToolButton()
        self.dismiss.setText("understood")
        self.dismiss.setAccessibleName("Cautions understood: hide them")
        self.dismiss.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.dismiss.clicked.connect(self.hide)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(8, 3, 3, 3)
        layout.addWidget(self.text, 1)
        layout.addWidget(self.dismiss, 0, Qt.AlignmentFlag.AlignTop)

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        dress(self, f"Cautions {{ background: {theme.ground}; border: 1px solid {theme.rule}; }}")


USUAL_SHARE: Final = 0.31
"""Share of the height for warnings and plane, below the time panels."""
_PLANE_LINES: Final = 20
"""Lines of text that the plane needs to stand below the cards."""
_SPARE: Final = 12
"""Pixels between the cards and the divider, so that the cards need not be scrolled."""
_LIST_ALONE: Final = 0.2
"""Share of the height for the list of warnings where the plane does not stand beside it."""
_LIST_LOW: Final = 4.4
"""Lines of the list of warnings where it stands above the time panels."""
_HANDLE: Final = 8
"""Pixels of the divider between the list of warnings and the panels."""
_ANY_HEIGHT: Final = (1 << 24) - 1
"""Qt's word for no limit."""
_TABLES_FROM: Final = 0.35
"""From this share on a table is shown below, which needs all of it."""


class Workbench(QWidget):
    """All panels.  Their proportions follow the window until the user drags a divider."""

    def __init__(
        self,
        plan: Plan,
        styles: Mapping[int, SensorStyle],
        faults: DrawingFaults,
        seen: OverlayState,
    ) -> None:
        super().__init__()
        self._faults = faults
        self._dragged = False
        self._room = 0
        self._is_low = False
        self._is_long = False
        self.lower_share = USUAL_SHARE
        """Share of the height for what stands below the time panels."""
        self.chart = Chart(plan, faults)
        self.strip = ReadoutStrip(faults, seen)
        panels = QWidget()
        above = QVBoxLayout(panels)
        above.setContentsMargins(0, 0, 0, 0)
        above.setSpacing(0)
        above.addWidget(self.strip)
        above.addWidget(self.chart, 1)
        self.warnings = WarningsList(plan, faults)
        self.plane = AgreementPlane(faults)
        self.cards = CardColumn(plan, dict(styles), faults)
        self.under = _splitter(Qt.Orientation.Horizontal, self.warnings, self.plane)
        self.left = _splitter(Qt.Orientation.Vertical, panels, self.under)
        self.right = QSplitter(Qt.Orientation.Vertical)
        self.right.setChildrenCollapsible(False)
        self.right.addWidget(self.cards)
        self.across = _splitter(Qt.Orientation.Horizontal, self.left, self.right)
        for splitter in (self.under, self.left, self.across, self.right):
            splitter.splitterMoved.connect(self._was_dragged)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(6)
        layout.addWidget(self.across, 1)
        self.plane.setVisible(bool(plan.tests))
        # Where the keyboard goes from panel to panel.
        for before, after in (
            (self.chart, self.warnings),
            (self.warnings, self.plane),
            (self.plane, self.cards.cards[0]),
        ):
            QWidget.setTabOrder(before, after)

    def _was_dragged(self) -> None:
        self._dragged = True

    def show_frame(self, frame: Frame) -> None:
        """Draw a frame; an error in one panel leaves the others their turn."""
        with self._faults.guard("time panels"):
            self.chart.show_frame(frame)
            self.strip.show_frame(frame)
        with self._faults.guard("cards"):
            self.cards.show_frame(frame)
        with self._faults.guard("list of warnings"):
            self.warnings.show_frame(frame)
        if frame.selected:
            with self._faults.guard("agreement plane"):
                self.plane.show_frame(frame)

    def put_below(self, part: QWidget) -> None:
        """Let this part stand below the time panels, in place of ``under``."""
        self.left.replaceWidget(1, part)
        self.left.setStretchFactor(0, 1)

    def share_below(self, share: float) -> None:
        """Give what stands below the time panels this share of the height."""
        self.lower_share = share
        self.share()

    def replan(self, plan: Plan, theme: Theme) -> None:
        """Other labels."""
        self.chart.replan(plan, theme)
        self.warnings.replan(plan)

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Apply a theme, with text of this font's size."""
        self.chart.apply_theme(theme, font)
        self.strip.updateGeometry()
        self.plane.apply_theme(theme, font)
        self.share()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The panels share the new room."""
        super().resizeEvent(event)
        self.share()

    def fit(self, room: int) -> None:
        """Take the height that is in sight, in pixels: in one that is too low for all panels the
        warnings stand first, and the cards are scrolled with the rest, not by a bar of their own.
        """
        self._room = room
        line = QFontMetricsF(self.font()).height()
        strip = self.strip.sizeHint().height()
        needed = round(self.chart.least_height + strip + 9 * line)
        is_low = room < needed
        closed = self.cards.closed_height
        # Cards of many sensors are higher than all panels: scrolled with the rest they would leave
        # the panels higher than a screen.  They and the upper panels fill what is in sight instead.
        self._is_long = is_low and closed > needed
        self.cards.setMinimumHeight(0 if not is_low else room if self._is_long else closed)
        few = round(_LIST_LOW * line)
        self.chart.fill(room - few - strip - _HANDLE if self._is_long else 0)
        if is_low == self._is_low:
            return
        self._is_low = is_low
        if self.under.parentWidget() is self.left:  # a recorded session has them among its tables
            if is_low:
                self.left.insertWidget(0, self.warnings)
            else:
                self.under.insertWidget(0, self.warnings)
        self.warnings.setMinimumHeight(few if is_low else 0)
        self.warnings.setMaximumHeight(few if is_low else _ANY_HEIGHT)
        self._dragged = False

    def share(self) -> None:
        """Give the panels their parts of the room, unless the user has dragged a divider."""
        self.fit(self._room or self.height())
        if self._dragged:
            return
        wide, high = self.width(), self.height()
        line = QFontMetricsF(self.font()).height()
        below = high - (self._room if self._is_long else self.cards.whole_height)
        is_tall = below > _PLANE_LINES * line
        self._place_plane(beside=not is_tall)
        usual = self.cards.cards[0].sizeHint().width() + 16
        # The plane below the cards is as wide as it is high, as far as the panels can spare it.
        wanted = max(usual, min(below, round(0.3 * wide))) if is_tall else usual
        cards = min(wanted, round(0.42 * wide))
        self.across.setSizes([wide - cards, cards])
        if is_tall:
            self.right.setSizes([high - below + _SPARE, below - _SPARE])
        share = self.lower_share if not is_tall else min(self.lower_share, _LIST_ALONE)
        if self.lower_share > _TABLES_FROM:
            share = self.lower_share
        lower = min(
            max(round(share * high), round(9 * line)),
            round(max(0.4, share) * high),
        )
        if self.left.count() > 2:
            first = self.warnings.maximumHeight()
            self.left.setSizes([first, high - first - lower, lower])
        else:
            self.left.setSizes([high - lower, lower])
        if self.under.parentWidget() is self.left:  # and no page among tables, shown by its tab
            self.under.setVisible(self.under.count() > 0)
        plane = min(round(1.5 * lower), round(0.45 * (wide - cards)))
        self.under.setSizes([wide - cards - plane, plane])

    def _place_plane(self, *, beside: bool) -> None:
        """Beside the warnings, or below the cards where a tall window leaves room there."""
        home = self.under if beside else self.right
        if self.plane.parentWidget() is not home:
            home.addWidget(self.plane)


class ScrolledWorkbench(QScrollArea):
    """The workbench in a window that may be too low for it: large text on a small screen is
    scrolled, not cut.
    """

    def __init__(self, bench: Workbench) -> None:
        super().__init__()
        self.setWidget(bench)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName("Workbench")
        self._bench = bench

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another height may hold all panels, or no longer."""
        super().resizeEvent(event)
        self._bench.fit(self.viewport().height())
        self._bench.share()


def _splitter(orientation: Qt.Orientation, first: QWidget, second: QWidget) -> QSplitter:
    splitter = QSplitter(orientation)
    splitter.setChildrenCollapsible(False)
    splitter.addWidget(first)
    splitter.addWidget(second)
    splitter.setStretchFactor(0, 1)
    return splitter
