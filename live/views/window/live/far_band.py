"""The last minutes as a broad band with thick lines on it, for the far view."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen

from live.views.shared.far import SHOWN_S
from live.views.window.parts.canvas import Area, draw_band, draw_hatch
from live.views.window.parts.columns import Drawn
from live.views.window.parts.frame import Frame

_COLUMNS: Final = 240
_LEAST_SPAN: Final = 40.0


def draw_far_band(painter: QPainter, frame: Frame, box: QRectF, numbers: Sequence[int]) -> None:
    """What these sensors made of the last three minutes; ``box`` in pixels."""
    start = frame.now_s - SHOWN_S
    drawn = {
        number: frame.timeline.readings[number].drawn(max(start, 0.0), frame.now_s, _COLUMNS)
        for number in frame.plan.compared
    }
    ref = drawn[frame.plan.reference]
    if len(ref.t_s) < 2:
        return
    low, high = (float(value) for value in (ref.low.min(), ref.high.max()))
    wide = float(frame.tolerance(np.array([high]))[0])
    middle, half = (low + high) / 2, max((high - low) / 2 + 2 * wide, _LEAST_SPAN / 2)
    y_scale = -box.height() / (2 * half)
    x_scale = box.width() / SHOWN_S
    area = Area(
        box, x_scale, box.left() - x_scale * start, y_scale, box.center().y() - y_scale * middle
    )
    painter.save()
    painter.setClipRect(box)
    low_edge, high_edge = (ref.low - frame.tolerance(ref.low), ref.high + frame.tolerance(ref.high))
    draw_band(painter, area, ref, (low_edge, high_edge), frame.theme)
    for gap_start, gap_end in frame.timeline.gaps[frame.plan.reference].between(
        start, frame.now_s, 1 / x_scale
    ):
        left, right = area.x(float(max(gap_start - 1, 0))), area.x(float(gap_end))
        draw_hatch(painter, QRectF(left, box.top(), right - left, box.height()), frame.theme.faint)
    thick = max(3.0, 0.008 * box.height())
    _line(painter, area, ref, frame.theme.band_core, thick)
    for number in (n for n in numbers if n != frame.plan.reference):
        _line(painter, area, drawn[number], frame.styles[number].colour(frame.theme), 1.5 * thick)
    painter.restore()


def _line(painter: QPainter, area: Area, drawn: Drawn, colour: str, thick: float) -> None:
    x, y, joined = drawn.line()
    if len(x) < 2:
        return
    pen = QPen(QColor(colour), thick)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    whole = bool(joined[:-1].all())
    path = pg.arrayToQPath(area.x(x), area.y(y), connect="all" if whole else joined)
    painter.drawPath(path)
