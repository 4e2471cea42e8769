"""The lanes as a picture: points to click on, means with their intervals, names at the side."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QFont,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QResizeEvent,
)
from PySide6.QtWidgets import QToolTip, QWidget

from live.views.window.parts.axes import PlainAxis, style_axis
from live.views.window.parts.canvas import elided
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.plain_text import tip
from live.views.window.parts.plot import PlotPane
from live.views.window.parts.theme import Theme
from live.views.window.study.lane_canvas import GAP, LEFT, RIGHT, LaneCanvas
from live.views.window.study.lanes import Lane, Lanes, Point

_NEAR: Final = 1.6
"""Radii around a point within which it is meant."""
_MOST_OF_NAME: Final = 0.34
"""Share of the width that names may take beside the lanes, and values; longer ones stand above."""


class NumberAxis(PlainAxis):
    """Values of any size, with a true minus."""

    def tickValues(
        self,
        minVal: float,
        maxVal: float,
        size: float,
    ) -> list[tuple[float, list[float]]]:
        """Round values, the coarsest that are three or more."""
        levels = super().tickValues(minVal, maxVal, size)
        values: list[float] = []
        for spacing, more in levels:
            values = sorted([*values, *more])
            if len(values) >= 3:
                return [(spacing, values)]
        return list(levels)

    def tickStrings(self, values: list[float], scale: float, spacing: float) -> list[str]:
        """As pyqtgraph writes them, with a true minus."""
        texts: list[str] = super().tickStrings(values, scale, spacing)
        return [text.replace("-", "−") for text in texts]


class _TextAxis(PlainAxis):
    """A text beside each lane: names on the left, with the sensors' shapes; values on the right."""

    canvas: LaneCanvas

    def text(self, lane: Lane) -> str:
        """Of one lane."""
        return lane.name if self.orientation == "left" else lane.words

    def paint(self, painter: QPainter, *_: object) -> None:
        """Called by Qt."""
        view, lanes = self.linkedView(), self.canvas.lanes
        if view is None or not lanes or self.canvas.caption_lines:
            return
        edge, box = self.mapRectFromParent(view.geometry()), QRectF(self.boundingRect())
        metrics = QFontMetricsF(self.canvas.font)
        painter.setFont(self.canvas.font)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        height = edge.height() / len(lanes)
        radius = self.canvas.radius
        for row, lane in enumerate(lanes):
            middle = edge.top() + (row + 0.5) * height
            painter.setPen(self.canvas.ink(lane))
            if self.orientation == "left":
                right = edge.left() - GAP
                if lane.look is not None:
                    self.canvas.draw_sign(painter, lane.look, QPointF(right - radius, middle))
                    painter.setPen(self.canvas.ink(lane))
                    right -= 3 * radius
                room = QRectF(box.left(), middle - height / 2, right - box.left(), height)
                painter.drawText(room, RIGHT, elided(self.text(lane), metrics, room.width()))
            else:
                left = edge.right() + GAP
                room = QRectF(left, middle - height / 2, box.right() - left, height)
                painter.drawText(room, LEFT, elided(self.text(lane), metrics, room.width()))


class LanePlot(PlotPane):
    """``opened``: the session of a point was asked for; ``chosen``: a sensor, by its name;
    ``pointed``: what the point says that the mouse or the keyboard is at, empty for none.

    Up and down choose a lane, left and right a session in it, Enter opens the session.
    """

    opened = Signal(object)
    chosen = Signal(str)
    pointed = Signal(str)

    def __init__(self, faults: DrawingFaults, parent: QWidget | None = None) -> None:
        self._names, self._values = _TextAxis("left"), _TextAxis("right")
        sides = {"left": self._names, "right": self._values, "bottom": NumberAxis("bottom")}
        super().__init__(sides, parent)
        self.canvas = LaneCanvas(self.plot.vb, faults)
        for axis in (self._names, self._values):
            axis.canvas = self.canvas
        self.plot.vb.invertY(True)
        self.plot.setContentsMargins(0, 4, 0, 0)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.shown = Lanes((), "", (0.0, 1.0))
        for part in (self, self.viewport()):
            part.setAccessibleName("Sessions of each sensor")

    def show_lanes(self, lanes: Lanes, chosen: str, theme: Theme) -> None:
        """Show these; the lane of the sensor ``chosen`` stands out."""
        canvas = self.canvas
        if lanes is not self.shown:
            first = next((n for n, one in enumerate(lanes.lanes) if one.sensor == chosen), 0)
            canvas.at = (first, -1)
        self.shown = lanes
        canvas.lanes, canvas.theme = lanes.lanes, theme
        canvas.from_zero, canvas.chosen = lanes.from_zero, chosen
        plot = self.plot
        plot.getAxis("bottom").setLabel(lanes.axis)
        plot.vb.setRange(xRange=lanes.span, yRange=(0, max(len(lanes.lanes), 1)), padding=0)
        self._make_room()
        self.updateGeometry()
        canvas.update()
        self._tell()

    def show_chosen(self, sensor: str) -> None:
        """Another sensor's lanes stand out."""
        self.canvas.chosen = sensor
        self.canvas.update()
        for axis in (self._names, self._values):
            axis.update()

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Apply a theme, with text of this font's size."""
        self.setBackground(theme.ground)
        self.setFont(font)
        self.canvas.font, self.canvas.theme = font, theme
        for name in ("left", "right", "bottom"):
            style_axis(self.plot.getAxis(name), theme, font)
        self._make_room()
        self.updateGeometry()

    def _make_room(self) -> None:
        """Names and values have the width that they need beside the lanes.  Where that leaves no
        picture they stand above the points: in one line, or the values in a second.
        """
        canvas = self.canvas
        widths = [canvas.caption_width(lane) for lane in canvas.lanes] or [(0.0, 0.0)]
        names, values = (max(column) + 2 * GAP for column in zip(*widths, strict=True))
        wide = max(self.width(), 1)
        if max(names, values) <= _MOST_OF_NAME * wide:
            canvas.caption_lines = 0
        else:
            in_one = max(map(sum, widths)) + 8 * GAP <= wide
            canvas.caption_lines = 1 if in_one else 2
            names = values = 2 * GAP
        self._names.setWidth(names)
        self._values.setWidth(values)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Names may have more room now."""
        super().resizeEvent(event)
        if hasattr(self, "canvas"):
            before = self.canvas.caption_lines
            self._make_room()
            if self.canvas.caption_lines != before:
                self.updateGeometry()

    def minimumSizeHint(self) -> QSize:
        """A line of text and a half for each lane, its caption, and the axis."""
        line = QFontMetricsF(self.canvas.font).height()
        lane = 1.5 + self.canvas.caption_lines
        return QSize(round(24 * line), round((lane * max(len(self.canvas.lanes), 2) + 4) * line))

    def sizeHint(self) -> QSize:
        """What is needed; the window gives more where it has it."""
        return self.minimumSizeHint()

    # The mouse

    def point_at(self, spot: QPointF) -> tuple[int, int] | None:
        """Lane and place of the point that is painted here, the nearest one."""
        near = _NEAR * self.canvas.radius
        found: list[tuple[float, int, int]] = []
        for row, spots in enumerate(self.canvas.spots):
            for place, one in enumerate(spots):
                apart = (one - spot).manhattanLength()
                if apart <= near:
                    found.append((apart, row, place))
        return min(found)[1:] if found else None

    def _row_at(self, spot: QPointF) -> int | None:
        box = self.plot.vb.sceneBoundingRect()
        count = len(self.canvas.lanes)
        row = int((spot.y() - box.top()) / max(box.height(), 1.0) * count)
        return row if box.top() <= spot.y() <= box.bottom() and row < count else None

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """What lies under the pointer says what it is."""
        at = self.point_at(event.position())
        self.viewport().setCursor(
            Qt.CursorShape.ArrowCursor if at is None else Qt.CursorShape.PointingHandCursor
        )
        if at is None:
            QToolTip.hideText()
            self.pointed.emit("")
        else:
            text = self._point(at).text
            told = tip(f"{text}\nClick to replay this session")
            QToolTip.showText(event.globalPosition().toPoint(), told, self)
            self.pointed.emit(text)

    def leaveEvent(self, event: QEvent) -> None:
        """Nothing is pointed at any more."""
        super().leaveEvent(event)
        self.pointed.emit("")

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A point opens its session; a lane chooses its sensor."""
        if event.button() is not Qt.MouseButton.LeftButton:
            return
        self.setFocus()
        at = self.point_at(event.position())
        row = self._row_at(event.position())
        if at is not None:
            self.canvas.at = at
            self.opened.emit(self._point(at).session)
        elif row is not None:
            self._choose(row)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """All was done at the press."""
        event.accept()

    def _point(self, at: tuple[int, int]) -> Point:
        return self.canvas.lanes[at[0]].points[at[1]]

    # The keyboard

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows walk over lanes and sessions; Enter opens one."""
        row, place = self.canvas.at
        key = event.key()
        if not self.canvas.lanes:
            super().keyPressEvent(event)
        elif key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            step = 1 if key == Qt.Key.Key_Down else -1
            self._choose(min(max(row + step, 0), len(self.canvas.lanes) - 1))
        elif key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            self._walk(1 if key == Qt.Key.Key_Right else -1)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and place >= 0:
            self.opened.emit(self._point((row, place)).session)
        else:
            super().keyPressEvent(event)

    def _choose(self, row: int) -> None:
        self.canvas.at = (row, -1)
        self.chosen.emit(self.canvas.lanes[row].sensor)
        self.pointed.emit("")
        self.canvas.update()
        self._tell()

    def _walk(self, step: int) -> None:
        """To the next session by its value."""
        row, place = self.canvas.at
        points = self.canvas.lanes[row].points
        if not points:
            return
        order = sorted(range(len(points)), key=lambda n: (points[n].value, n))
        at = order.index(place) + step if place >= 0 else (0 if step > 0 else len(order) - 1)
        self.canvas.at = (row, order[min(max(at, 0), len(order) - 1)])
        self.pointed.emit(self._point(self.canvas.at).text)
        self.canvas.update()
        self._tell()

    def focusInEvent(self, event: object) -> None:
        """The point that the keyboard stands on is ringed."""
        super().focusInEvent(event)
        self.canvas.has_focus = True
        self.canvas.update()

    def focusOutEvent(self, event: object) -> None:
        """And no more."""
        super().focusOutEvent(event)
        self.canvas.has_focus = False
        self.canvas.update()

    def _tell(self) -> None:
        """Say to a reader of screens where the keyboard stands."""
        row, place = self.canvas.at
        if row >= len(self.canvas.lanes):
            self.setAccessibleDescription("")
            return
        lane = self.canvas.lanes[row]
        said = f"{lane.name}: {lane.words}, {len(lane.points)} sessions"
        if place >= 0:
            said += f"; {lane.points[place].text}"
        self.setAccessibleDescription(said)
