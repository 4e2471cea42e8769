"""One lane per sensor on the time axis: where it had values, where not, and what was warned of.

The uppermost lane is the session's own: the tester's markers, and faults of the capture itself.
"""

from __future__ import annotations

import math
from typing import Final

import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter

from analysis.board.snapshot import SensorWarning
from live.views.window.parts.canvas import (
    Area,
    Canvas,
    draw_flag,
    draw_grid,
    draw_hatch,
    draw_veil,
    line_pen,
)
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.lettering import lettering
from live.views.window.parts.number_format import clock
from live.views.window.parts.roll import KeptPicture
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import SEVERITY_SHAPES
from live.views.window.parts.words import stretch
from replay.event import SESSION

_TRACK: Final = 0.22
"""Share of a lane's height for the track of values; the warnings stand above it."""

_TAIL_S: Final = 5.0
"""The end of a warning that a later one may cover."""


class LanesCanvas(Canvas):
    """The lowest panel.  Lane 0 is the session; then the sensors, the reference first."""

    name = "lanes"

    def __init__(self, view: pg.ViewBox, faults: DrawingFaults) -> None:
        super().__init__(view, faults)
        self._kept = KeptPicture()
        self._told: list[tuple[QRectF, str]] = []
        self._looked: tuple[object, ...] = ()
        self._rows = range(0)

    def draw(self, painter: QPainter, area: Area, frame: Frame) -> None:
        """The picture as it was, as long as nothing in it has moved by a pixel; of many lanes those
        alone that are in sight.
        """
        ratio = painter.device().devicePixelRatio()
        look = (*self._look(area, frame, ratio), area.box.height(), painter.font().key())
        rows = self._rows_in(area, len(frame.plan.sensors) + 1)
        if look == self._looked:  # what has been painted is kept, and so are its words
            rows = range(min(rows.start, self._rows.start), max(rows.stop, self._rows.stop))
        self._looked, self._rows = look, rows
        self._kept.draw(
            painter,
            area,
            (*look, rows),
            ground=QColor(frame.theme.ground),
            paint=lambda brush: self._paint(brush, area, frame, rows),
        )
        self.told += self._told

    @staticmethod
    def _rows_in(area: Area, lanes: int) -> range:
        """The lanes that are painted now; all of them where that is not known."""
        if area.exposed is None:
            return range(lanes)
        height = area.box.height() / lanes
        first = math.floor((area.exposed.top() - area.box.top()) / height)
        last = math.ceil((area.exposed.bottom() - area.box.top()) / height)
        return range(max(first, 0), min(max(last, first + 1), lanes))

    @staticmethod
    def _look(area: Area, frame: Frame, ratio: float) -> tuple[object, ...]:
        def column(second: float) -> int:
            return round(area.x(second) * ratio)

        gaps = [frame.lines.gaps[number] for number in frame.plan.compared]
        return (
            frame.plan,
            frame.theme.name,
            frame.start_s,
            frame.end_s,
            column(frame.now_s),
            column(frame.drawn_to_s),
            tuple((len(gap.ends), column(gap.ends[-1]) if gap.ends else 0) for gap in gaps),
            tuple(
                (w.kind, w.sensor, w.severity, w.since_s, w.start_s, w.end_s)
                for w in frame.lane_warnings
            ),
            tuple((marker.t_ns, marker.text) for marker in frame.markers),
        )

    def _paint(self, painter: QPainter, area: Area, frame: Frame, rows: range) -> None:
        """Tracks with their gaps, then the warnings, then the markers."""
        self._told = []
        draw_grid(painter, area, frame, ())
        lanes = len(frame.plan.sensors) + 1
        height = area.box.height() / lanes
        number_at = (SESSION, *frame.plan.shown_order)
        compared = set(frame.plan.compared)
        for place in rows:
            if number_at[place] in compared:
                top = area.box.top() + place * height
                track = QRectF(area.box.left(), top + (1 - _TRACK) * height - 2, 0, _TRACK * height)
                self._draw_track(painter, area, frame, number_at[place], track)
        warned = self._warnings_in(frame)
        for place in rows:
            top = area.box.top() + place * height
            room = QRectF(area.box.left(), top + 1, area.box.width(), (1 - _TRACK) * height - 4)
            if place == 0:
                self._draw_markers(painter, area, frame, room)
            self._draw_warnings(painter, area, frame, warned.get(number_at[place], []), room)
        draw_veil(painter, area, frame)
        painter.setPen(line_pen(frame.theme.rule))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        for place in range(1, lanes):
            y = round(area.box.top() + place * height) + 0.5
            painter.drawLine(QPointF(area.box.left(), y), QPointF(area.box.right(), y))

    @staticmethod
    def _warnings_in(frame: Frame) -> dict[int, list[SensorWarning]]:
        """The warnings that stand in the picture, by sensor."""
        found: dict[int, list[SensorWarning]] = {}
        for warning in frame.lane_warnings:
            is_over = warning.end_s is not None and warning.end_s < frame.start_s
            if warning.since_s <= frame.end_s and not is_over:
                found.setdefault(warning.sensor, []).append(warning)
        return found

    def _draw_track(
        self, painter: QPainter, area: Area, frame: Frame, number: int, track: QRectF
    ) -> None:
        colour = frame.styles[number].colour(frame.theme)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        left = max(area.x(0.0), area.box.left())
        right = min(area.x(frame.drawn_to_s), area.box.right())
        if right <= left:
            return
        painter.fillRect(QRectF(left, track.top(), right - left, track.height()), QColor(colour))
        gaps = frame.lines.gaps[number]
        for start, end in gaps.between(frame.start_s, frame.end_s, 1 / area.x_scale):
            first, last = area.x(max(start - 1, 0)), area.x(min(end, frame.drawn_to_s))
            hole = QRectF(first, track.top() - 2, max(last - first, 1), track.height() + 4)
            draw_hatch(painter, hole.intersected(area.box), frame.theme.ink, frame.theme.ground)

    def _draw_warnings(
        self,
        painter: QPainter,
        area: Area,
        frame: Frame,
        mine: list[SensorWarning],
        room: QRectF,
    ) -> None:
        for level, of, warning in stacked(mine):
            end = (
                max(frame.now_s, frame.drawn_to_s)
                if warning.end_s is None
                else float(warning.end_s)
            )
            height = room.height() / of
            row = QRectF(room.left(), room.top() + level * height, room.width(), height)
            self._draw_dated_back(painter, area, frame, warning, row)
            left = max(area.x(float(warning.start_s)), area.box.left() - 2)
            right = min(area.x(end), area.box.right() + 2)
            if right > left - 3:
                box = QRectF(left, row.top(), max(right - left, 3), height)
                self._draw_warning(painter, frame, warning, box)

    @staticmethod
    def _draw_dated_back(
        painter: QPainter, area: Area, frame: Frame, warning: SensorWarning, row: QRectF
    ) -> None:
        """A dashed line from where the fault began to where it was known; of a warning that is
        still to come nothing before now, or the picture would know more than the board.
        """
        first = float(warning.since_s)
        if warning.start_s > frame.now_s:
            first = max(first, frame.now_s)
        left = max(area.x(first), area.box.left())
        right = min(area.x(float(warning.start_s)), area.box.right())
        if right <= left:
            return
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(line_pen(frame.theme.severity(warning.severity), dashed=True))
        painter.drawLine(QPointF(left, row.bottom()), QPointF(right, row.bottom()))

    def _draw_warning(
        self, painter: QPainter, frame: Frame, warning: SensorWarning, box: QRectF
    ) -> None:
        theme = frame.theme
        colour = QColor(theme.severity(warning.severity))
        letters = lettering(painter.font())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        wash = QColor(colour)
        wash.setAlpha(44)
        painter.fillRect(box, QColor(theme.ground))
        painter.fillRect(box, wash)
        painter.setPen(line_pen(colour.name()))
        painter.drawLine(box.bottomLeft(), box.bottomRight())
        radius = min(0.42 * box.height(), 0.36 * letters.line)
        spot = QPointF(box.left() + radius + 1, box.center().y() - 0.5)
        draw(painter, SEVERITY_SHAPES[warning.severity], spot, radius, colour)
        self._told.append((box, f"{warning.kind}, {stretch(warning)}"))
        text = box.adjusted(2 * radius + 5, 0, -2, 0)
        words = str(warning.kind)
        if box.height() < 0.75 * letters.line or text.width() < 0.4 * letters.width(words):
            return
        painter.setPen(QColor(theme.ink))
        letters.write(painter, text, words)

    def _draw_markers(self, painter: QPainter, area: Area, frame: Frame, room: QRectF) -> None:
        letters = lettering(painter.font())
        ink = QColor(frame.theme.ink)
        places = [area.x(marker.t_ns / 1e9) for marker in frame.markers]
        ends = [*places[1:], area.box.right() + 8][: len(places)]
        for count, (marker, x, end) in enumerate(zip(frame.markers, places, ends, strict=True), 1):
            if not area.box.left() <= x <= area.box.right():
                continue
            draw_flag(painter, area.box, x, frame.theme.ink)
            draw(painter, Shape.WEDGE, QPointF(x, room.top() + 4), 4, ink)
            text = marker.text or f"marker {count}"
            flag = QRectF(x - 4, room.top(), 8, room.height())
            self._told.append((flag, f"{clock(marker.t_ns / 1e9)}: {text}"))
            # A label ends before the next flag, or is left out; its own flag still stands.
            room_right = min(end - 8, area.box.right()) - x - 8
            wanted = letters.width(text) + 2
            width = min(wanted, room_right)
            if width < min(wanted, 20 + letters.metrics.averageCharWidth()):
                continue
            painter.setPen(ink)
            box = QRectF(x + 7, room.top(), width, room.height())
            self._told.append((box, text))
            letters.write(painter, box, text)


def stacked(warnings: list[SensorWarning]) -> list[tuple[int, int, SensorWarning]]:
    """(level, levels, warning): those that overlap in time share the lane's height.

    Where one merely ends while the next begins (a loose strap that loses contact), the later is
    drawn over the earlier's end, and both keep the whole height for their words.
    """
    placed: list[tuple[int, SensorWarning]] = []
    free: list[float] = []
    for warning in warnings:
        level = next((i for i, until in enumerate(free) if until <= warning.since_s), len(free))
        if level == len(free):
            free.append(0.0)
        end = float("inf") if warning.end_s is None else float(warning.end_s)
        free[level] = end - max(_TAIL_S, 0.2 * (end - warning.since_s))
        placed.append((level, warning))
    return [(level, len(free), warning) for level, warning in placed]
