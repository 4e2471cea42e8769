"""Painting over a plot in screen pixels.

pyqtgraph brings the view box, the axes and the mouse; what stands on the time axis is painted
here.  One item per panel, in pixels, draws eight sensors in a few milliseconds: lines are drawn
one pixel wide, because Qt draws wider ones by outlining and filling them, at many times the cost.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TypeVar

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import QStyleOptionGraphicsItem

from live.views.window.parts.columns import Drawn, Floats
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.number_format import tick_step
from live.views.window.parts.theme import Theme

_Number = TypeVar("_Number", float, Floats)


@dataclass(frozen=True, slots=True)
class Area:
    """Where a panel is on the screen: ``box`` in pixels, and the way from (s, value) to it.

    ``exposed``: what of it is painted now, if that is known: less than all where it is scrolled.
    """

    box: QRectF
    x_scale: float
    x_zero: float
    y_scale: float
    y_zero: float
    exposed: QRectF | None = None

    def x(self, t_s: _Number) -> _Number:
        """Pixels from seconds; a number or an array."""
        return t_s * self.x_scale + self.x_zero

    def y(self, value: _Number) -> _Number:
        """Pixels from the panel's own unit; a number or an array."""
        return value * self.y_scale + self.y_zero


class PixelItem(pg.GraphicsObject):  # type: ignore[misc]  # pyqtgraph is untyped
    """One panel's painting.  ``name``: for the log; subclasses write ``paint_in``.

    ``told``: what was painted where, in pixels of the view, for a tip: words may have had no room.
    """

    name = "panel"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults) -> None:
        super().__init__()
        self._view = view
        self._faults = faults
        self.font = QFont()
        self.told: list[tuple[QRectF, str]] = []
        self.setFlag(self.GraphicsItemFlag.ItemUsesExtendedStyleOption)  # tells what is exposed
        view.addItem(self, ignoreBounds=True)

    def paint_in(self, painter: QPainter, area: Area) -> None:
        """Paint, in pixels."""
        raise NotImplementedError

    def boundingRect(self) -> QRectF:
        """The whole visible part of the panel."""
        return QRectF(self._view.viewRect())

    def viewRangeChanged(self) -> None:
        """The view moved: what was painted stands elsewhere now."""
        self.prepareGeometryChange()
        self.update()

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, *_: object) -> None:
        """Called by Qt."""
        transform = painter.worldTransform()
        box = transform.mapRect(self.boundingRect())
        area = Area(
            box,
            transform.m11(),
            transform.dx(),
            transform.m22(),
            transform.dy(),
            transform.mapRect(option.exposedRect),
        )
        painter.save()
        painter.resetTransform()
        painter.setFont(self.font)
        self.told = []
        with self._faults.guard(self.name):
            self.paint_in(painter, area)
        painter.restore()


class Canvas(PixelItem):
    """One panel's painting of a frame; subclasses write ``draw``."""

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults) -> None:
        super().__init__(view, faults)
        self.frame: Frame | None = None

    def show_frame(self, frame: Frame) -> None:
        """Take what to draw, and ask to be painted."""
        self.frame = frame
        self.update()

    def draw(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """Paint, in pixels."""
        raise NotImplementedError

    def paint_in(self, painter: QPainter, area: Area) -> None:
        """Paint the frame, once there is one."""
        if self.frame is not None:
            self.draw(painter, area, self.frame)


@lru_cache(maxsize=256)
def line_pen(colour: str, *, dashed: bool = False) -> QPen:
    """A pen one pixel wide; shared by all who ask for the same."""
    pen = QPen(QColor(colour))
    pen.setWidthF(1.0)
    pen.setCosmetic(True)
    if dashed:
        pen.setDashPattern([5, 3])
    return pen


def rows_in(height_px: float, line_px: float) -> int:
    """How many ticks an axis of this height may carry with text of this height."""
    return max(2, int(height_px / (1.7 * line_px)))


def draw_grid(
    painter: QPainter,
    area: Area,
    frame: Frame,
    rows: Iterable[float],
    *,
    left: float = -math.inf,
    spare: float = 0.0,
) -> None:
    """Thin lines at the time ticks and at ``rows``, to the right of ``left`` in pixels and as far
    as ``spare`` beyond the right edge.
    """
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.setPen(line_pen(frame.theme.rule))
    box = area.box
    step = tick_step(frame.end_s - frame.start_s, max(2, round(box.width() / 90)))
    pixel_s = 1 / area.x_scale
    first_s = max(frame.start_s - pixel_s, (left - area.x_zero) / area.x_scale - pixel_s, 0.0)
    t = step * -(-first_s // step)
    while t <= frame.end_s + (1 + spare) * pixel_s:
        x = round(area.x(t)) + 0.5
        painter.drawLine(QPointF(x, box.top()), QPointF(x, box.bottom()))
        t += step
    for value in rows:
        y = round(area.y(value)) + 0.5
        painter.drawLine(QPointF(max(box.left(), left - 1), y), QPointF(box.right() + spare, y))


def draw_band(
    painter: QPainter,
    area: Area,
    drawn: Drawn,
    edges: tuple[Floats, Floats],
    theme: Theme,
) -> None:
    """The stretch between two lines (lower, upper), in one piece per run without a gap."""
    low, high = edges
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.setPen(line_pen(theme.band_edge))
    painter.setBrush(QColor(theme.band))
    px, top, bottom = area.x(drawn.t_s), area.y(high), area.y(low)
    for first, last in drawn.runs():
        if last - first == 1:
            painter.drawRect(QRectF(px[first] - 1, top[first], 2, bottom[first] - top[first]))
            continue
        piece = slice(first, last)
        painter.drawPolygon(
            pg.functions.arrayToQPolygonF(
                np.concatenate([px[piece], px[piece][::-1]]),
                np.concatenate([top[piece], bottom[piece][::-1]]),
            )
        )


def draw_hatch(
    painter: QPainter, box: QRectF, ink: str, ground: str | None = None, *, frame: bool = True
) -> None:
    """A hatched strip, never narrower than two pixels: a short gap in a long session shows."""
    if box.width() < 2:
        box = QRectF(box.center().x() - 1, box.top(), 2, box.height())
    if ground is not None:
        painter.fillRect(box, QColor(ground))
    painter.setBrushOrigin(box.topLeft())
    painter.fillRect(box, QBrush(QColor(ink), Qt.BrushStyle.BDiagPattern))
    if frame:
        painter.setPen(line_pen(ink))
        for x in (box.left(), box.right()):
            painter.drawLine(QPointF(x, box.top()), QPointF(x, box.bottom()))


def draw_veil(painter: QPainter, area: Area, frame: Frame) -> None:
    """What comes after the cursor of a replay is paler."""
    if frame.whole is None:
        return
    left = max(area.x(frame.now_s), area.box.left())
    veil = QColor(frame.theme.ground)
    veil.setAlpha(150)
    painter.fillRect(QRectF(left, area.box.top(), area.box.right() - left, area.box.height()), veil)


def draw_flag(painter: QPainter, box: QRectF, x: float, colour: str) -> None:
    """The dashed upright of a marker."""
    pen = QPen(line_pen(colour))
    pen.setDashPattern([2, 4])
    painter.setPen(pen)
    painter.drawLine(QPointF(x, box.top()), QPointF(x, box.bottom()))


def spread(wanted: list[float], height: float, top: float, bottom: float) -> list[float]:
    """Middles of labels of one height near the wanted ones, apart from one another and inside."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed = [min(max(y, top + height / 2), bottom - height / 2) for y in wanted]
    for before, after in pairwise(order):
        placed[after] = max(placed[after], placed[before] + height)
    limit = bottom - height / 2
    for i in reversed(order):
        placed[i] = min(placed[i], limit)
        limit = placed[i] - height
    return placed


def elided(text: str, metrics: QFontMetricsF, width: float) -> str:
    """The text, or as much of it as fits, ending in an ellipsis."""
    return metrics.elidedText(text, Qt.TextElideMode.ElideRight, width)
