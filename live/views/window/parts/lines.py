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
    dashed = pen.style() != Qt.PenStyle.SolidLine
    bin_s = dash_s(area) if dashed else 0.0
    drawn = _since_dash(drawn, bin_s, from_s) if dashed else _since(drawn, from_s)
    x, y, joined = drawn.line()
    if len(x) == 0:
        return
    px, py = area.x(x), area.y(y)
    dash = np.floor(x / bin_s) if dashed else None
    if len(x) <= _FEW_POINTS:
        paths, lone = _short_paths(px, py, joined, dash)
    else:
        paths, lone = _paths(px, py, joined, dash), _lone(joined)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, sparse)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    # A thin pen is one device pixel wide, however many of them make up a pixel.
    ratio = painter.device().devicePixelRatio()
    steps = round(1.5 * ratio) if sparse else 1
    for path in paths:
        painter.drawPath(path)
        for step in range(1, steps):
            painter.drawPath(path.translated(0, step / ratio))
    for i in lone:
        painter.fillRect(QRectF(px[i] - 1.5, py[i] - 1.5, 3, 3), pen.color())


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
    px: Floats, py: Floats, joined: Bools, dash: Floats | None
) -> tuple[list[QPainterPath], list[int]]:
    """As :func:`_paths`, point by point; and the points that no line leads to or from."""
    xs, ys, leads = px.tolist(), py.tolist(), joined.tolist()
    dashes = None if dash is None else dash.tolist()
    last = len(xs) - 1
    leads[last] = False
    paths: list[QPainterPath] = []
    lone: list[int] = []
    path: QPainterPath | None = None
    for i, (x, y, goes_on) in enumerate(zip(xs, ys, leads, strict=True)):
        if path is None:
            if not goes_on:
                lone.append(i)
                continue
            path = QPainterPath()
            path.moveTo(x, y)
        else:
            path.lineTo(x, y)
            if not goes_on:
                paths.append(path)
                path = None
            elif dashes is not None and dashes[i] != dashes[i - 1]:
                paths.append(path)
                path = QPainterPath()
                path.moveTo(x, y)
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
