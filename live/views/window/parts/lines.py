"""A series as a line on the screen, and only as much of it as is painted anew."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPen

from live.views.window.parts.canvas import Area
from live.views.window.parts.columns import Bools, Drawn, Floats

DASHED_PX: Final = 16
"""At least so long, and at most twice as long, dashes go on before they begin anew."""
_SOLID: Final = Qt.PenStyle.SolidLine
_NO_BRUSH: Final = Qt.BrushStyle.NoBrush
_SMOOTH: Final = QPainter.RenderHint.Antialiasing
_FEW_RUNS: Final = 6
_FEW_POINTS: Final = 100
"""So many are put into a path one by one sooner than arrays are made ready for it."""


def is_sparse(area: Area, drawn: Drawn) -> bool:
    """Whether a line has fewer points than pixels."""
    n = len(drawn.t_s)
    if n == 0:
        return False
    points = 2 * n if drawn.by_column else n
    return bool(points < area.x_scale * (drawn.t_s[-1] - drawn.t_s[0]))


def draw_line(
    painter: QPainter,
    area: Area,
    drawn: Drawn,
    pen: QPen,
    *,
    sparse: bool,
    from_s: float = -math.inf,
) -> None:
    """A series as a line of about two pixels: the same thin path again, a little lower.

    Where points are as dense as pixels (not ``sparse``) the line is broad enough by itself.
    ``from_s``: what lies before this moment need not be painted.
    """
    dashed = pen.style() != _SOLID
    bin_s = dash_s(area) if dashed else math.inf
    drawn = _since_dash(drawn, bin_s, from_s) if dashed else _since(drawn, from_s)
    if len(drawn.t_s) == 0:
        return
    if len(drawn.t_s) <= _FEW_POINTS and not drawn.by_column:
        paths, lone = _short_paths(area, drawn, bin_s)
    else:
        x, y, joined = drawn.line()
        px, py = area.x(x), area.y(y)
        paths = _paths(px, py, joined, np.floor(x / bin_s) if dashed else None)
        lone = [(float(px[i]), float(py[i])) for i in _lone(joined)]
    painter.setRenderHint(_SMOOTH, sparse)
    painter.setPen(pen)
    painter.setBrush(_NO_BRUSH)
    # A thin pen is one device pixel wide, however many of them make up a pixel.
    ratio = painter.device().devicePixelRatio()
    steps = round(1.5 * ratio) if sparse else 1
    for path in paths:
        painter.drawPath(path)
        for step in range(1, steps):
            painter.drawPath(path.translated(0, step / ratio))
    for left, top in lone:
        painter.fillRect(QRectF(left - 1.5, top - 1.5, 3, 3), pen.color())


def dash_s(area: Area) -> float:
    """Length in s after which the dashes of a line begin anew: where they stand is bound to times,
    not to where the picture begins, so that they move along with the line.
    """
    return float(2.0 ** math.ceil(math.log2(DASHED_PX / area.x_scale)))


def _since(drawn: Drawn, from_s: float) -> Drawn:
    """From the last point but one before a moment: where a path begins it is a little more than a
    line that goes on there, and its first piece not quite what it would be.
    """
    return drawn.piece(int(drawn.t_s.searchsorted(from_s)) - 2)


def _since_dash(drawn: Drawn, bin_s: float, from_s: float) -> Drawn:
    """A dashed line from where its dashes begin anew, at a moment or before it."""
    t_s = drawn.t_s
    if from_s == -math.inf or len(t_s) == 0:
        return drawn
    begins = bin_s * math.floor(from_s / bin_s)
    first = int(t_s.searchsorted(begins))
    if first < len(t_s) and t_s[first] <= from_s:
        return drawn.piece(first)
    # The piece of line that crosses the moment belongs to the dashes before.
    before = bin_s * math.floor(t_s[max(first - 1, 0)] / bin_s)
    return drawn.piece(int(t_s.searchsorted(before)))


def _short_paths(
    area: Area, drawn: Drawn, bin_s: float
) -> tuple[list[QPainterPath], list[tuple[float, float]]]:
    """As :func:`_paths`, point by point; and the points that no line leads to or from.

    ``bin_s``: after so long dashes begin anew; infinite of a line without any.
    """
    x_scale, x_zero, y_scale, y_zero = area.x_scale, area.x_zero, area.y_scale, area.y_zero
    times, leads = drawn.t_s.tolist(), drawn.joined.tolist()
    leads[-1] = False
    paths: list[QPainterPath] = []
    lone: list[tuple[float, float]] = []
    path: QPainterPath | None = None
    anew_s = 0.0
    for t_s, value, goes_on in zip(times, drawn.low.tolist(), leads, strict=True):
        x, y = t_s * x_scale + x_zero, value * y_scale + y_zero
        if path is not None:
            path.lineTo(x, y)
            if goes_on and t_s < anew_s:
                continue
            paths.append(path)
            path = None
        elif not goes_on:
            lone.append((x, y))
        if goes_on:
            path = QPainterPath()
            path.moveTo(x, y)
            anew_s = bin_s * (t_s // bin_s + 1)
    return paths, lone


def _lone(joined: Bools) -> list[int]:
    """Points that no line leads to or from: nothing else of them would be seen."""
    lone = ~joined
    lone[1:] &= ~joined[:-1]
    found: list[int] = np.flatnonzero(lone).tolist()
    return found


def _paths(px: Floats, py: Floats, joined: Bools, dash: Floats | None) -> list[QPainterPath]:
    """A line's path, in one piece per run where these are few: pyqtgraph makes such a piece in a
    sixth of the time that it takes to look at each point whether it is joined.

    ``dash``: float64[n], another value where dashes begin anew; ``None`` of a line without any.
    """
    if len(px) < 2:
        return []
    breaks = np.flatnonzero(~joined[:-1])
    if dash is None and len(breaks) > _FEW_RUNS:
        return [pg.arrayToQPath(px, py, connect=joined)]
    edges = [0, *(breaks + 1).tolist(), len(px)]
    pieces = [(first, last) for first, last in pairwise(edges) if last - first > 1]
    if dash is not None:
        anew = np.flatnonzero(np.diff(dash)) + 1
        pieces = [
            (start, end + 1 if end < last else last)
            for first, last in pieces
            for start, end in pairwise(
                [first, *anew[(anew > first) & (anew < last - 1)].tolist(), last]
            )
        ]
    return [
        pg.arrayToQPath(px[first:last], py[first:last], connect="all") for first, last in pieces
    ]
