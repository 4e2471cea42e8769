"""The lanes as a picture: points to click on, means with their intervals, names at the side."""

from __future__ import annotations

from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPen,
    QResizeEvent,
)
from PySide6.QtWidgets import QToolTip, QWidget

from live.views.window.parts.axes import style_axis
from live.views.window.parts.canvas import Area, PixelItem, elided, line_pen
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.marks import radius_for
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.study.lanes import Lane, Lanes, Point

_NEAR: Final = 1.6
"""Radii around a point within which it is meant."""
_SPREAD: Final = 0.16
"""Share of a lane by which neighbouring sessions stand above and below its middle."""
_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_MOST_OF_NAME: Final = 0.34
"""Share of the width that names may take."""


class NumberAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph is untyped
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


class LaneCanvas(PixelItem):
    """Paints the lanes.  ``at``: the lane and the point that the keyboard stands on; a point of
    −1 is none.
    """

    name = "lanes of the study"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults) -> None:
        super().__init__(view, faults)
        self.lanes: tuple[Lane, ...] = ()
        self.theme = LIGHT
        self.from_zero = False
        self.chosen = ""
        self.at = (0, -1)
        self.has_focus = False
        self.spots: list[list[QPointF]] = []
        """Where each point was painted, by lane."""

    def paint_in(self, painter: QPainter, area: Area) -> None:
        """Ground and rules first, then means, then points."""
        self.spots = [self._spots(area, row) for row in range(len(self.lanes))]
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._draw_ground(painter, area)
        for row, lane in enumerate(self.lanes):
            self._draw_points(painter, lane, self.spots[row])
            self._draw_mean(painter, area, row, lane)
        self._draw_cursor(painter)

    def _draw_ground(self, painter: QPainter, area: Area) -> None:
        for row, lane in enumerate(self.lanes):
            box = self._box(area, row)
            if lane.sensor == self.chosen:
                painter.fillRect(box, QColor(self.theme.panel))
            painter.setPen(line_pen(self.theme.rule))
            painter.drawLine(box.bottomLeft(), box.bottomRight())
        if self.from_zero:
            x = area.x(0.0)
            painter.setPen(line_pen(self.theme.faint, dashed=True))
            painter.drawLine(QPointF(x, area.box.top()), QPointF(x, area.box.bottom()))

    @staticmethod
    def _box(area: Area, row: int) -> QRectF:
        top, bottom = sorted((area.y(float(row)), area.y(float(row + 1))))
        return QRectF(area.box.left(), top, area.box.width(), bottom - top)

    def _spots(self, area: Area, row: int) -> list[QPointF]:
        box = self._box(area, row)
        return [
            # Sessions with equal values lie beside each other, not on each other.
            QPointF(area.x(point.value), box.center().y() + _SPREAD * box.height() * (n % 3 - 1))
            for n, point in enumerate(self.lanes[row].points)
        ]

    @property
    def radius(self) -> float:
        """Of the points."""
        return radius_for(QFontMetricsF(self.font))

    def _draw_points(self, painter: QPainter, lane: Lane, spots: list[QPointF]) -> None:
        ground = QColor(self.theme.ground)
        for point, spot in zip(lane.points, spots, strict=True):
            if point.lost:
                draw(painter, Shape.CROSS, spot, self.radius, QColor(self.theme.alarm), edge=ground)
            elif lane.look is None:
                draw(painter, Shape.DISC, spot, 0.6 * self.radius, QColor(self.theme.faint))
            else:
                colour = QColor(lane.look.colour(self.theme))
                hollow = lane.look.hollow
                draw(
                    painter, lane.look.style.shape, spot, self.radius,
                    ground if hollow else colour, edge=colour if hollow else ground,
                )  # fmt: skip

    def _draw_mean(self, painter: QPainter, area: Area, row: int, lane: Lane) -> None:
        if lane.mean.value is None:
            return
        box = self._box(area, row)
        pen = QPen(QColor(self.theme.ink), 2)
        painter.setPen(pen)
        y, x = box.center().y(), area.x(lane.mean.value)
        if lane.mean.interval is not None:
            low, high = (area.x(end) for end in lane.mean.interval)
            painter.drawLine(QPointF(low, y), QPointF(high, y))
            for end in (low, high):
                painter.drawLine(QPointF(end, y - 4), QPointF(end, y + 4))
        if lane.look is None:
            ink = QColor(self.theme.ink)
            fill = ink if lane.filled else QColor(self.theme.ground)
            draw(painter, Shape.DIAMOND, QPointF(x, y), 1.2 * self.radius, fill, edge=ink)
        else:
            reach = 0.34 * box.height()
            painter.drawLine(QPointF(x, y - reach), QPointF(x, y + reach))

    def _draw_cursor(self, painter: QPainter) -> None:
        row, place = self.at
        if self.has_focus and row < len(self.spots) and 0 <= place < len(self.spots[row]):
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(self.theme.focus), 2))
            painter.drawEllipse(self.spots[row][place], 2 * self.radius, 2 * self.radius)


class _TextAxis(pg.AxisItem):  # type: ignore[misc]  # pyqtgraph is untyped
    """A text beside each lane: names on the left, with the sensors' shapes; values on the right."""

    def __init__(self, side: str, canvas: LaneCanvas) -> None:
        super().__init__(side)
        self._canvas = canvas

    def text(self, lane: Lane) -> str:
        """Of one lane."""
        return lane.name if self.orientation == "left" else lane.words

    def paint(self, painter: QPainter, *_: object) -> None:
        """Called by Qt."""
        view, lanes, theme = self.linkedView(), self._canvas.lanes, self._canvas.theme
        if view is None or not lanes:
            return
        edge, box = self.mapRectFromParent(view.geometry()), QRectF(self.boundingRect())
        metrics = QFontMetricsF(self._canvas.font)
        painter.setFont(self._canvas.font)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        height = edge.height() / len(lanes)
        radius = min(self._canvas.radius, 0.35 * height)
        for row, lane in enumerate(lanes):
            middle = edge.top() + (row + 0.5) * height
            painter.setPen(QColor(theme.ink if lane.sensor == self._canvas.chosen else theme.faint))
            if self.orientation == "left":
                right = edge.left() - 6
                if lane.look is not None:
                    colour = QColor(lane.look.colour(theme))
                    fill = QColor(theme.panel) if lane.look.hollow else colour
                    spot = QPointF(right - radius, middle)
                    draw(painter, lane.look.style.shape, spot, radius, fill, edge=colour)
                    right -= 3 * radius
                room = QRectF(box.left(), middle - height / 2, right - box.left(), height)
                painter.drawText(room, _RIGHT, elided(self.text(lane), metrics, room.width()))
            else:
                room = QRectF(
                    edge.right() + 6, middle - height / 2, box.right() - edge.right() - 6, height
                )
                painter.drawText(room, _LEFT, elided(self.text(lane), metrics, room.width()))


class LanePlot(pg.PlotWidget):  # type: ignore[misc]  # pyqtgraph is untyped
    """``opened``: the session of a point was asked for; ``chosen``: a sensor, by its name.

    Up and down choose a lane, left and right a session in it, Enter opens the session.
    """

    opened = Signal(object)
    chosen = Signal(str)

    def __init__(self, faults: DrawingFaults, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        plot = self.getPlotItem()
        self.canvas = LaneCanvas(plot.vb, faults)
        self._names = _TextAxis("left", self.canvas)
        self._values = _TextAxis("right", self.canvas)
        plot.setAxisItems(
            {"left": self._names, "right": self._values, "bottom": NumberAxis("bottom")}
        )
        plot.setMenuEnabled(False)
        plot.hideButtons()
        plot.setMouseEnabled(x=False, y=False)
        plot.disableAutoRange()
        plot.vb.invertY(True)
        plot.getAxis("bottom").enableAutoSIPrefix(False)
        plot.setContentsMargins(0, 4, 0, 0)
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
        plot = self.getPlotItem()
        plot.getAxis("bottom").setLabel(lanes.axis)
        plot.setRange(xRange=lanes.span, yRange=(0, max(len(lanes.lanes), 1)), padding=0)
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
            style_axis(self.getPlotItem().getAxis(name), theme, font)
        self._make_room()
        self.updateGeometry()

    def _make_room(self) -> None:
        """Names and values have the width that they need, as far as that leaves a picture."""
        width = QFontMetricsF(self.canvas.font).horizontalAdvance
        most = _MOST_OF_NAME * max(self.width(), 1)
        for axis, more in ((self._names, 4 * self.canvas.radius + 8), (self._values, 12)):
            wanted = max((width(axis.text(lane)) for lane in self.canvas.lanes), default=0.0)
            axis.setWidth(min(wanted + more, most))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Names may have more room now."""
        super().resizeEvent(event)
        if hasattr(self, "canvas"):
            self._make_room()

    def minimumSizeHint(self) -> QSize:
        """A line of text and a half for each lane, and the axis."""
        line = QFontMetricsF(self.canvas.font).height()
        return QSize(round(24 * line), round((1.5 * max(len(self.canvas.lanes), 2) + 4) * line))

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
        box = self.getPlotItem().vb.sceneBoundingRect()
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
        else:
            text = f"{self._point(at).text}\nClick to replay this session"
            QToolTip.showText(event.globalPosition().toPoint(), tip(text), self)

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
