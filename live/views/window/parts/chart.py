"""The time panels, one above the other on one axis."""

from __future__ import annotations

from functools import partial
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, QSize, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QHelpEvent, QResizeEvent
from PySide6.QtWidgets import QGraphicsGridLayout, QToolTip, QWidget

from live.views.window.parts.axes import LaneAxis, TimeAxis, ValueAxis, style_axis
from live.views.window.parts.canvas import PixelItem
from live.views.window.parts.differences import DifferencesCanvas
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.lanes import LanesCanvas
from live.views.window.parts.marks import LABEL_SIGNS
from live.views.window.parts.plain_text import tip
from live.views.window.parts.plot import Plot
from live.views.window.parts.shapes import Stamps
from live.views.window.parts.theme import Theme, sensor_styles
from live.views.window.parts.traces import TracesCanvas
from replay.plan import Plan

_LANES: Final = 2
"""The lowest panel, which has the time axis."""

LANE_LINES: Final = 1.45
"""Height of a lane in lines of text: a track, and the words of a warning above it."""


class Chart(pg.GraphicsView):  # type: ignore[misc]  # pyqtgraph is untyped
    """Traces, differences and lanes.  ``moved``: the user dragged or zoomed to (start, end) s.

    ``rows``: how they share the height.
    """

    moved = Signal(float, float)

    def __init__(self, plan: Plan, faults: DrawingFaults, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._plan = plan
        self._styles = sensor_styles(plan)
        self.least_lines = 13.0
        """Height that the two upper panels and the axis ask for at least, in lines of text."""
        self._in_sight = 0
        self.lane_axis = LaneAxis()
        self.top = Plot({"left": ValueAxis("left")}, moves=True)
        self.middle = Plot({"left": ValueAxis("left")}, moves=True)
        self.bottom = Plot({"left": self.lane_axis, "bottom": TimeAxis("bottom")}, moves=True)
        self.rows = self._stack()
        stamps = Stamps()
        self.traces = TracesCanvas(self.top.vb, faults, stamps)
        self.differences = DifferencesCanvas(self.middle.vb, faults, stamps)
        self.lanes = LanesCanvas(self.bottom.vb, faults)
        self.bottom.vb.setYRange(0, len(plan.sensors) + 1, padding=0)
        for plot in (self.top, self.middle):  # also where no further picture is drawn
            plot.vb.sigResized.connect(lambda *_: self._label_axes())
        for part in (self, self.viewport()):
            part.setAccessibleName("Heart rate, difference and warnings over time")
        self.setFocusPolicy(pg.QtCore.Qt.FocusPolicy.StrongFocus)

    def _stack(self) -> QGraphicsGridLayout:
        """One below the other; the two upper ones share what the lanes leave."""
        rows = QGraphicsGridLayout()
        rows.setContentsMargins(2, 4, 4, 2)
        rows.setSpacing(4)
        rows.setRowStretchFactor(0, 5)
        rows.setRowStretchFactor(1, 3)
        for row, plot in enumerate((self.top, self.middle, self.bottom)):
            rows.addItem(plot, row, 0)
            # Not linked to one another: a link costs more at each picture than setting the range
            # of all three, and only a hand on the mouse moves one alone.
            plot.vb.sigRangeChangedManually.connect(partial(self._was_moved, plot))
        whole = pg.GraphicsWidget()
        whole.setLayout(rows)
        self.setCentralItem(whole)
        return rows

    def _was_moved(self, moved: Plot, *_: object) -> None:
        start, end = moved.vb.viewRange()[0]
        for plot in (self.top, self.middle, self.bottom):
            plot.vb.setXRange(start, end, padding=0)
        self.moved.emit(start, end)

    @property
    def columns(self) -> int:
        """Screen columns of the time axis, in device pixels."""
        return max(int(self.pixels), 50)

    @property
    def pixels(self) -> float:
        """Width of the time axis in device pixels."""
        return float(self.top.vb.width() * self.devicePixelRatioF())

    @property
    def label_room(self) -> float:
        """Share of the width that the labels at the lines' ends need."""
        metrics = QFontMetricsF(self.font())
        wanted = LABEL_SIGNS * metrics.averageCharWidth() / max(self.top.vb.width(), 1.0)
        return float(min(wanted, 0.35))

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Apply a theme, with text of this font's size."""
        metrics = QFontMetricsF(font)
        self.setFont(font)
        for canvas in (self.traces, self.differences, self.lanes):
            canvas.font = font
        self.setBackground(theme.ground)
        width = max(metrics.horizontalAdvance("Mmmmmmmmm"), 60)
        for plot in (self.top, self.middle, self.bottom):
            style_axis(plot.getAxis("left"), theme, font)
            plot.getAxis("left").setWidth(width)
        time_axis = self.bottom.getAxis("bottom")
        style_axis(time_axis, theme, font)
        time_axis.margin = width
        time_axis.setHeight(round(metrics.height()) + 6)
        self._share_height()
        self._name_lanes(theme)

    def replan(self, plan: Plan, theme: Theme) -> None:
        """Other labels."""
        self._plan = plan
        self._name_lanes(theme)

    def fill(self, height: int) -> None:
        """Let the two upper panels fill this height, in pixels: all that is in sight of a chart
        whose lanes are scrolled.  0: as much as they need.
        """
        if height != self._in_sight:
            self._in_sight = height
            self.updateGeometry()

    def _name_lanes(self, theme: Theme) -> None:
        self.lane_axis.ink = theme.ink
        self.lane_axis.lanes = [("session", None, theme.ink)]
        for number in self._plan.shown_order:
            sensor = self._plan.sensor(number)
            style = self._styles.get(number)
            shape = None if style is None else style.shape
            colour = theme.faint if style is None else style.colour(theme)
            self.lane_axis.lanes.append((sensor.label, shape, colour))
        self.lane_axis.update()

    def _share_height(self) -> None:
        """Lanes get a fixed height: enough for a line of text, more in a tall window."""
        line = QFontMetricsF(self.font()).height()
        lanes = len(self._plan.sensors) + 1
        lane = min(max(0.25 * self.height() / lanes, LANE_LINES * line), 2.4 * line)
        self.rows.setRowFixedHeight(_LANES, lanes * lane + line + 8)

    def tip_at(self, spot: QPointF) -> str:
        """What is said of a place, in pixels of the viewport: names of warnings, stretches and
        markers, which may have had no room for their words.
        """
        said = [
            text
            for item in self.scene().items()
            if isinstance(item, PixelItem) and item.isVisible()
            for box, text in item.told
            if box.adjusted(-1, -1, 1, 1).contains(spot)
        ]
        return "\n".join(dict.fromkeys(said))

    def viewportEvent(self, event: QEvent) -> bool:
        """A tip for what lies under the pointer."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            QToolTip.showText(event.globalPos(), tip(self.tip_at(QPointF(event.pos()))), self)
            return True
        return bool(super().viewportEvent(event))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The panels share the new height."""
        super().resizeEvent(event)
        if hasattr(self, "lanes"):  # Qt sends a first size before the panels are there
            self._share_height()
            self._settle()

    def _settle(self) -> None:
        # Left to what follows and to the paint event, it would ask for a second painting.
        self.rows.activate()
        for plot in (self.top, self.middle, self.bottom):
            plot.vb.updateMatrix()

    def _label_axes(self) -> None:
        """Name the axes in full where the panel is high enough, with the unit alone elsewhere."""
        metrics = QFontMetricsF(self.font())
        for plot, words in ((self.top, "heart rate (bpm)"), (self.middle, "difference (bpm)")):
            axis = plot.getAxis("left")
            text = words if metrics.horizontalAdvance(words) < plot.vb.height() else "bpm"
            if axis.labelText != text:
                axis.setLabel(text)
                axis.resizeEvent()  # puts the new text in the middle

    def show_frame(self, frame: Frame) -> None:
        """Draw a frame."""
        self._label_axes()
        columns = self.columns
        for plot in (self.top, self.middle, self.bottom):
            plot.vb.setXRange(frame.start_s, frame.end_s, padding=0)
        self._set_rows(self.top, *self.traces.take(frame, columns))
        self._set_rows(self.middle, *self.differences.take(frame, columns))
        self.lanes.show_frame(frame)
        self._settle()

    @staticmethod
    def _set_rows(plot: Plot, low: float, high: float) -> None:
        if plot.vb.viewRange()[1] != [low, high]:
            plot.vb.setYRange(low, high, padding=0)

    def sizeHint(self) -> QSize:
        """No higher than it needs: whoever has more room gives it."""
        return QSize(640, self.minimumSizeHint().height())

    def minimumSizeHint(self) -> QSize:
        """High enough for all lanes and a few lines of each panel."""
        return QSize(320, max(self.least_height, self._in_sight + self._lanes_height))

    @property
    def least_height(self) -> int:
        """Pixels that it needs whatever is in sight."""
        line = QFontMetricsF(self.font()).height()
        return round(self.least_lines * line) + self._lanes_height

    @property
    def _lanes_height(self) -> int:
        line = QFontMetricsF(self.font()).height()
        return round(LANE_LINES * (len(self._plan.sensors) + 1) * line)
