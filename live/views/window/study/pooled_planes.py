"""The pairs of all sessions of one sensor: against the reference, and difference against mean.

They show where errors lie.  Seconds are drawn, and longer sessions show more of themselves: no
statistic rests on these counts.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QResizeEvent
from PySide6.QtWidgets import QWidget

from analysis.report.study.shown import difference_ends, pairs_over, plane_ends, r_text
from analysis.session.pair_counts import CELL_BPM
from analysis.statistics.agreement import Tolerance
from analysis.study.sensors import SensorResult
from analysis.study.statistic import BIAS
from analysis.study.study import Activity
from live.views.window.parts.axes import ValueAxis, style_axis
from live.views.window.parts.canvas import Area, PixelItem
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.plane_lines import (
    LIMIT,
    draw_equality,
    draw_limit_words,
    draw_limits,
)
from live.views.window.parts.plot import PlotPane
from live.views.window.parts.shade import Shade, shade_of
from live.views.window.parts.theme import LIGHT, Theme

_CELL: Final = (CELL_BPM, CELL_BPM)


def plane_shade(activity: Activity, name: str, theme: Theme, *, turned: bool) -> Shade | None:
    """The counts of one sensor as shade, as dark for as many pairs as that of every other sensor
    of the activity.
    """
    centres, counts = pairs_over(activity.sensor(name))
    if not len(centres):
        return None
    most = max(int(pairs_over(one)[1].max(initial=1)) for one in activity.sensors)
    if turned:
        across, up = centres.sum(axis=1) // 2, centres[:, 1] - centres[:, 0]
    else:
        across, up = centres[:, 0], centres[:, 1]
    # Bins of one bpm, gathered in cells of two: of every two means one goes with a difference.
    low = across.min() // CELL_BPM * CELL_BPM, up.min()
    wide, high = (int(one.max() - least) // CELL_BPM * CELL_BPM + CELL_BPM
                  for one, least in zip((across, up), low, strict=True))  # fmt: skip
    cells = np.zeros((wide, high), dtype=np.uint32)
    np.add.at(cells, (across - low[0], up - low[1]), counts.astype(np.uint32))
    origin = float(low[0]) - (0.0 if turned else 0.5), float(low[1]) - 0.5
    return shade_of(cells, _CELL, origin, QColor(theme.shade), most=most)


class _PooledCanvas(PixelItem):
    """Shade, then lines, then words."""

    name = "pooled plane"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults, *, turned: bool) -> None:
        super().__init__(view, faults)
        self.turned = turned
        self.theme = LIGHT
        self.shade: Shade | None = None
        self.tolerance: Tolerance | None = None
        self.result: SensorResult | None = None

    def paint_in(self, painter: QPainter, area: Area) -> None:
        """Nothing is painted before there is a sensor."""
        if self.result is None:
            return
        if self.shade is not None:
            self.shade.draw(painter, area)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self.turned:
            self._draw_limits(painter, area, self.result)
        else:
            self._draw_equality(painter, area)
            self._draw_words(painter, area.box, r_text(self.result))
        if self.shade is None:
            self._draw_words(painter, area.box, "\n\nNo pairs were kept of these sessions.")

    def _draw_equality(self, painter: QPainter, area: Area) -> None:
        low, high = self._view.viewRange()[0]
        bpm = np.linspace(max(low, 1.0), high, 40)
        allowed = None if self.tolerance is None else self.tolerance.half_width(bpm)
        draw_equality(painter, area, self.theme, bpm, allowed)

    def _draw_words(self, painter: QPainter, box: QRectF, text: str) -> None:
        metrics = QFontMetricsF(painter.font())
        flags = int(Qt.AlignmentFlag.AlignLeft) | int(Qt.TextFlag.TextWordWrap)
        room = metrics.boundingRect(box.adjusted(0, 0, -12, 0), flags, text).translated(6, 4)
        plate = QColor(self.theme.ground)
        plate.setAlpha(205)
        painter.fillRect(room.adjusted(-3, -1, 3, 1), plate)
        painter.setPen(QColor(self.theme.ink))
        painter.drawText(room, flags, text)

    def _draw_limits(self, painter: QPainter, area: Area, result: SensorResult) -> None:
        means = result.every
        named = ((LIMIT, means.loa_high), ("bias", means.of(BIAS)), (LIMIT, means.loa_low))
        lines = [(one.value, words) for words, one in named if one.value is not None]
        draw_limits(painter, area, self.theme, lines)
        draw_limit_words(painter, area, self.theme, lines)


class PooledPlane(PlotPane):
    """One of the two pictures.  ``turned``: difference against mean."""

    def __init__(
        self, faults: DrawingFaults, *, turned: bool, parent: QWidget | None = None
    ) -> None:
        super().__init__({"left": ValueAxis("left"), "bottom": ValueAxis("bottom")}, parent)
        # The uppermost and the rightmost tick's text reach beyond the axes.
        self.plot.setContentsMargins(0, 8, 12, 0)
        self.canvas = _PooledCanvas(self.plot.vb, faults, turned=turned)
        self.ends: tuple[tuple[float, float], tuple[float, float]] = ((60, 180), (60, 180))
        self._names = ("", "")
        name = "Differences" if turned else "Agreement plane"
        for part in (self, self.viewport()):
            part.setAccessibleName(f"{name} over sessions")
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def show_sensor(self, activity: Activity, name: str, theme: Theme, *, band: bool) -> None:
        """Show one sensor; all of an activity have the same axes.  ``band``: with the tolerance."""
        session, canvas = activity.sessions[0], self.canvas
        canvas.theme, canvas.result = theme, activity.sensor(name)
        canvas.shade = plane_shade(activity, name, theme, turned=canvas.turned)
        canvas.tolerance = (
            Tolerance(session.tolerance_bpm, session.tolerance_percent) if band else None
        )
        ends = plane_ends(activity)
        self.ends = (ends, difference_ends(activity) if canvas.turned else ends)
        reference = session.reference
        if canvas.turned:
            self._names = (f"mean of {name} and {reference} (bpm)", f"{name} − {reference} (bpm)")
        else:
            self._names = (f"{reference}, reference (bpm)", f"{name} (bpm)")
        _, counts = pairs_over(canvas.result)
        self.setAccessibleDescription(
            f"{name} against {reference}: {int(counts.sum())} pairs of "
            f"{canvas.result.every.sessions} sessions"
        )
        self._lay_out()

    def apply_theme(self, theme: Theme, font: QFont) -> None:
        """Apply a theme, with text of this font's size."""
        self.setBackground(theme.ground)
        self.setFont(font)
        self.canvas.font = font
        plot = self.plot
        for name in ("left", "bottom"):
            style_axis(plot.getAxis(name), theme, font)
        plot.getAxis("left").setWidth(max(QFontMetricsF(font).horizontalAdvance("Mmmmm"), 44))
        self.updateGeometry()
        self._lay_out()

    def _lay_out(self) -> None:
        plot = self.plot
        plot.vb.setAspectLocked(not self.canvas.turned)
        plot.vb.setRange(xRange=self.ends[0], yRange=self.ends[1], padding=0)
        for axis, text, short in zip(("bottom", "left"), self._names, ("bpm", "bpm"), strict=True):
            room = plot.vb.height() if axis == "left" else plot.vb.width()
            fits = QFontMetricsF(self.font()).horizontalAdvance(text) <= room
            item = plot.getAxis(axis)
            item.setLabel(text if fits else short)
            item.resizeEvent()  # puts the new text in the middle
        self.canvas.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another text may fit along an axis now."""
        super().resizeEvent(event)
        if hasattr(self, "canvas"):
            self._lay_out()

    def sizeHint(self) -> QSize:
        """What is needed; the window gives more where it has it."""
        return self.minimumSizeHint()

    def minimumSizeHint(self) -> QSize:
        """Room for the axes and a few cells."""
        line = QFontMetricsF(self.font()).height()
        return QSize(round(13 * line), round((8 if self.canvas.turned else 12) * line))
