"""The agreement plane of one test sensor: reference across, sensor up, counts of pairs as shade.

Turned, it shows the difference against the mean of the two, with the bias and the limits of
agreement (bias ± 1.96 SD of the differences; Bland and Altman, Lancet 1986).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QResizeEvent
from PySide6.QtWidgets import QWidget

from analysis.statistics.agreement import Tolerance, sums_of
from live.views.window.parts.axes import ValueAxis, style_axis
from live.views.window.parts.canvas import Area, Canvas
from live.views.window.parts.columns import Floats
from live.views.window.parts.counts import CELL_SIZES, FAR_BPM, LOW_BPM, Counts
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.marks import radius_for
from live.views.window.parts.plane_lines import (
    BIAS,
    LIMIT,
    draw_equality,
    draw_limit_words,
    draw_limits,
)
from live.views.window.parts.plot import PlotPane
from live.views.window.parts.shade import Shade, shade_of
from live.views.window.parts.shapes import Stamps
from live.views.window.parts.theme import Theme

_LATEST_S: Final = 60
"""The pairs of the last minute stand out as the sensor's own shape."""
_EMPTY: Final = (60.0, 120.0)


_CELL_PX: Final = 3.5
"""A cell of the shade is at least this large, or single pairs would be dust."""


def _cell(px_per_bpm: float) -> int:
    """How many bpm a cell must span to be seen."""
    return next((size for size in CELL_SIZES if size * px_per_bpm >= _CELL_PX), CELL_SIZES[-1])


class PlaneCanvas(Canvas):
    """The plane: shade, lines or limits, and the latest pairs."""

    name = "agreement plane"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults) -> None:
        super().__init__(view, faults)
        self._stamps = Stamps()
        self.turned = False
        self.shade: Shade | None = None
        self.limits: tuple[float, float] | None = None
        """Bias and half width of the limits, bpm; known while turned."""

    def draw(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """Shade and lines first, the latest pairs on top."""
        if self.shade is not None:
            self.shade.draw(painter, area)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self.turned:
            draw_limits(painter, area, frame.theme, self._lines())
        else:
            self._draw_equality(painter, area, frame)
        self._draw_latest(painter, area, frame)
        if self.turned:
            self._draw_words(painter, area, frame)

    def _draw_equality(self, painter: QPainter, area: Area, frame: Frame) -> None:
        low, high = self._view.viewRange()[0]
        bpm = np.linspace(max(low, 1.0), high, 40)
        draw_equality(painter, area, frame.theme, bpm, frame.tolerance(bpm))

    def _lines(self) -> list[tuple[float, str]]:
        if self.limits is None:
            return []
        bias, half = self.limits
        return [(bias + half, LIMIT), (bias, BIAS), (bias - half, LIMIT)]

    def _draw_words(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """On the side where most of the newest pairs do not stand."""
        across, _ = self._latest(frame)
        at_left = len(across) > 0 and float(np.median(area.x(across))) > area.box.center().x()
        draw_limit_words(painter, area, frame.theme, self._lines(), at_left=at_left)

    def _latest(self, frame: Frame) -> tuple[Floats, Floats]:
        """Where the newest pairs lie, bpm."""
        ref = frame.board.grid(frame.plan.reference)[-_LATEST_S:]
        test = frame.board.grid(frame.selected)[-_LATEST_S:]
        both = (ref >= 0) & (test >= 0)
        across, up = ref[both] / 1000.0, test[both] / 1000.0
        if self.turned:
            return (across + up) / 2, up - across
        return across, up

    def _draw_latest(self, painter: QPainter, area: Area, frame: Frame) -> None:
        across, up = self._latest(frame)
        style = frame.styles[frame.selected]
        colour, ground = QColor(style.colour(frame.theme)), QColor(frame.theme.ground)
        radius = radius_for(QFontMetricsF(painter.font()))
        ratio = painter.device().devicePixelRatio()
        small = self._stamps.get(style.shape, 0.7 * radius, colour, None, ratio)
        large = self._stamps.get(style.shape, 1.5 * radius, colour, ground, ratio)
        xs, ys = area.x(across).tolist(), area.y(up).tolist()
        for i, (x, y) in enumerate(zip(xs, ys, strict=True)):
            self._stamps.put(painter, large if i == len(xs) - 1 else small, x, y)


class AgreementPlane(PlotPane):
    """The plane.  ``turn`` goes to the other position."""

    def __init__(self, faults: DrawingFaults, parent: QWidget | None = None) -> None:
        super().__init__({"left": ValueAxis("left"), "bottom": ValueAxis("bottom")}, parent)
        # The uppermost and the rightmost tick's text reach beyond the axes.
        self.plot.setContentsMargins(0, 8, 12, 0)
        self.canvas = PlaneCanvas(self.plot.vb, faults)
        self._drawn_for: tuple[object, ...] = ()
        self._range: tuple[float, ...] = ()
        self.turned = False
        for part in (self, self.viewport()):
            part.setAccessibleName("Agreement plane")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def turn(self) -> None:
        """Pair against pair, or difference against mean."""
        self.turned = not self.turned

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Apply a theme, with text of this font's size."""
        self.setBackground(theme.ground)
        self.setFont(font)
        self.canvas.font = font
        plot = self.plot
        for name in ("left", "bottom"):
            style_axis(plot.getAxis(name), theme, font)
        plot.getAxis("left").setWidth(max(QFontMetricsF(font).horizontalAdvance("Mmmmm"), 44))
        self._drawn_for = ()

    def show_frame(self, frame: Frame) -> None:
        """Draw a frame; the picture changes once per grid second."""
        counts = frame.timeline.counts(frame.selected, frame.board)
        key = (frame.selected, self.turned, counts.pairs, frame.snapshot.second, frame.theme.name)
        if key == self._drawn_for:
            return
        self._drawn_for = key
        sensor = frame.status(frame.selected).label
        ref = frame.status(frame.plan.reference).label
        low, high = counts.range or _EMPTY
        low, high = 10 * np.floor((low - 3) / 10), 10 * np.ceil((high + 3) / 10)
        self.canvas.turned = self.turned
        self.canvas.limits = self._limits(frame) if self.turned else None
        reach = self._reach(counts.turned)
        view = self.plot.vb
        if self.turned:
            fine, floor = counts.turned, -FAR_BPM
            size = _cell(view.width() / (high - low)), _cell(view.height() / (2 * reach))
        else:
            fine, floor = counts.plane, LOW_BPM
            size = (_cell(min(view.width(), view.height()) / (high - low)),) * 2
        self.canvas.shade = shade_of(fine, size, (LOW_BPM, floor), QColor(frame.theme.shade))
        if self.turned:
            self._label("bottom", f"mean of {sensor} and {ref} (bpm)", "mean (bpm)")
            self._label("left", f"{sensor} − {ref} (bpm)", "difference (bpm)", "bpm")
            wanted = (low, high, -reach, reach)
        else:
            self._label("bottom", f"{ref}, reference (bpm)", f"{ref} (bpm)", "reference (bpm)")
            self._label("left", f"{sensor} (bpm)", "bpm")
            wanted = (low, high, low, high)
        if wanted != self._range:
            self._range = wanted
            view.setAspectLocked(not self.turned)
            view.setRange(xRange=wanted[:2], yRange=wanted[2:], padding=0)
        self.canvas.show_frame(frame)
        view.updateMatrix()  # or the paint event would, and ask for a second painting
        beyond = f", {counts.beyond} beyond ±{FAR_BPM} bpm" if counts.beyond else ""
        out_s = frame.snapshot.left_out_s
        out = f"; bias and limits without {out_s} s of a faulty reference" if out_s else ""
        said = f"{sensor} against {ref}: {counts.pairs} pairs{beyond}{out}"
        self.setAccessibleDescription(said)

    def _label(self, name: str, *texts: str) -> None:
        """The first of the texts that fits along the axis, or the last."""
        view = self.plot.vb
        room = view.height() if name == "left" else view.width()
        width = QFontMetricsF(self.font()).horizontalAdvance
        text = next((t for t in texts if width(t) <= room), texts[-1])
        axis = self.plot.getAxis(name)
        if axis.labelText != text:
            axis.setLabel(text)
            axis.resizeEvent()  # puts the new text in the middle

    @staticmethod
    def _limits(frame: Frame) -> tuple[float, float] | None:
        tolerance = Tolerance(frame.plan.tolerance_bpm, frame.plan.tolerance_percent)
        board = frame.board
        # Of the pairs that the card's first figures are of, so that both show one bias.
        kept = ~board.left_out
        ref, test = board.grid(frame.plan.reference), board.grid(frame.selected)
        sums = sums_of(ref[kept], test[kept], tolerance)
        bias, sd = sums.summary().bias_bpm, sums.sd_bpm
        return None if bias is None or sd is None else (bias, 1.96 * sd)

    def _reach(self, cells: Counts) -> float:
        used = np.flatnonzero(cells.any(axis=0)) - FAR_BPM
        reach = float(np.abs(used).max(initial=15))
        if self.canvas.limits is not None:
            bias, half = self.canvas.limits
            reach = max(reach, abs(bias) + half)
        return 5 * float(np.ceil((reach + 2) / 5))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Cells of another size may fit now."""
        super().resizeEvent(event)
        self._drawn_for = ()
        self._range = ()

    def minimumSizeHint(self) -> QSize:
        """Room for the axes and a few cells."""
        line = QFontMetricsF(self.font()).height()
        return QSize(round(12 * line), round(9 * line))
