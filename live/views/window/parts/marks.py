"""What identifies a line: its shape along the way, and its name and value where it ends."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from live.views.window.parts.canvas import Area, line_pen, spread
from live.views.window.parts.columns import Cut, Drawn, Floats
from live.views.window.parts.frame import Frame
from live.views.window.parts.lettering import Lettering, lettering
from live.views.window.parts.shapes import Shape, Stamps, draw
from live.views.window.parts.theme import SensorStyle


@dataclass(frozen=True, slots=True)
class EndLabel:
    """The words at the end of a line: where it ends (s and the panel's unit), what to say.

    ``first``: to be kept where there is not room for all.
    """

    number: int
    t_s: float
    value: float
    text: str
    faint: bool = False
    first: bool = False


def label_at_edge(number: int, drawn: Drawn, frame: Frame, *, first: bool) -> EndLabel | None:
    """The name of a line that runs out of the picture at its right edge; ``None`` if none does."""
    last = int(drawn.t_s.searchsorted(frame.end_s, side="right")) - 1
    if last < 0 or not drawn.joined[last] or drawn.t_s[last] < frame.start_s:
        return None
    value = float(drawn.low[last] + drawn.high[last]) / 2
    name = frame.status(number).label
    return EndLabel(number, frame.end_s, value, name, faint=True, first=first)


LABEL_SIGNS: Final = 19
"""Room at the lines' ends, in average letters."""


def radius_for(metrics: QFontMetricsF) -> float:
    """Size of the shapes along the lines, from the size of the text."""
    return max(3.5, 0.3 * metrics.height())


MARK_EVERY_PX: Final = 110
"""Distance between the shapes along a line: near enough to tell lines apart, few enough to see
the line."""


def _step_s(area: Area) -> float:
    """Time between two shapes of a line.  A power of two keeps the shapes where they are while the
    view grows.
    """
    return float(2.0 ** math.ceil(math.log2(MARK_EVERY_PX / area.x_scale)))


def _place(style: SensorStyle) -> float:
    """By what share of their distance one sensor's shapes are shifted against another's."""
    return (0.37 * (style.index + 1)) % 1.0


def _last_shape(drawn: Drawn, step_s: float, place: float) -> float:
    """Where the last shape that a line has so far stands, s; before its start if it has none."""
    t_s = drawn.t_s
    last_s = float(t_s[-1])
    wanted = (math.floor(last_s / step_s - place) + place) * step_s
    if wanted < last_s - step_s / 8:  # as nearly always: it stands a reading after that, or nowhere
        return wanted + step_s / 8
    return float(t_s[t_s.searchsorted(wanted)])


def mark_points(drawn: Drawn, area: Area, place: float) -> tuple[Floats, Floats]:
    """Where the shapes along a line stand, in pixels.

    They are bound to times, not to the screen, so that they move along with the line.  ``place``
    (0 to 1) shifts one sensor's shapes against another's.
    """
    t_s = drawn.t_s
    if len(t_s) == 0:
        return t_s, t_s
    step = _step_s(area)
    first = math.ceil(float(t_s[0]) / step - place)
    wanted = (np.arange(first, t_s[-1] / step - place) + place) * step
    index = np.searchsorted(t_s, wanted)
    index = index[index < len(t_s)]
    near = np.abs(t_s[index] - wanted[: len(index)]) < step / 8
    index = index[near]
    y = (drawn.low[index] + drawn.high[index]) / 2
    return area.x(t_s[index]), area.y(y)


def has_marks(area: Area, frame: Frame, lines: Mapping[int, Drawn], from_s: float) -> bool:
    """Whether a shape may stand on one of the lines from a moment on."""
    step = _step_s(area)
    return any(
        len(line.t_s) and _last_shape(line, step, _place(frame.styles[number])) >= from_s
        for number, line in lines.items()
    )


def draw_marks(
    painter: QPainter,
    stamps: Stamps,
    area: Area,
    frame: Frame,
    *,
    lines: Mapping[int, Drawn],
    from_s: float,
) -> None:
    """The sensors' shapes along their lines, from a moment on."""
    step = _step_s(area)
    radius = radius_for(lettering(painter.font()).metrics)
    ratio = painter.device().devicePixelRatio()
    ground = QColor(frame.theme.ground)
    # Those at the edges too, as much of them as is inside: they move in and out.
    left, right = area.box.left() - radius - 2, area.box.right() + radius + 2
    for number, line in lines.items():
        style = frame.styles[number]
        place = _place(style)
        if len(line.t_s) == 0 or _last_shape(line, step, place) < from_s:
            continue  # as it is in most strips that are new
        xs, ys = mark_points(line.since(from_s), area, place)
        colour = QColor(style.colour(frame.theme))
        stamp = stamps.get(style.shape, radius, colour, ground, ratio)
        for x, y in zip(xs.tolist(), ys.tolist(), strict=True):
            if left <= x <= right:
                stamps.put(painter, stamp, x, y)


def draw_doubtful(painter: QPainter, area: Area, frame: Frame, number: int) -> None:
    """A question mark beside each reading that leapt as no heart does, as far as there is room."""
    found = frame.lines.doubtful[number]
    first, last = bisect_left(found.t_s, frame.start_s), bisect_right(found.t_s, frame.end_s)
    if first == last:
        return
    metrics = QFontMetricsF(painter.font())
    wide, high = metrics.horizontalAdvance("?") + 4, metrics.height() - 2
    free = area.box.left()
    for t_s, bpm in zip(found.t_s[first:last], found.bpm[first:last], strict=True):
        x, y = area.x(t_s), area.y(bpm)
        if x - wide / 2 < free or x + wide / 2 > area.box.right():
            continue
        free = x + wide / 2
        # Away from the middle of the panel, where the lines are; always inside it.
        above = y - high - 3 > area.box.top() and y < area.box.center().y()
        top = y - high - 3 if above else min(y + 3, area.box.bottom() - high - 1)
        plate = QRectF(x - wide / 2, top, wide, high)
        painter.fillRect(plate, QColor(frame.theme.ground))
        painter.setPen(QColor(frame.styles[number].colour(frame.theme)))
        painter.drawRect(plate)
        painter.setPen(QColor(frame.theme.ink))
        painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, "?")


_CUT_PX: Final = 18
"""Distance between two marks of cuts: sensors that flicker about an edge need no more."""


def draw_cuts(
    painter: QPainter, area: Area, frame: Frame, number: int, cuts: Sequence[Cut]
) -> None:
    """An arrowhead at the edge over the middle of each stretch that is cut out."""
    if not cuts:
        return
    metrics = QFontMetricsF(painter.font())
    radius = 0.8 * radius_for(metrics)
    colour = QColor(frame.styles[number].colour(frame.theme))
    box = area.box
    free = {True: -math.inf, False: -math.inf}
    for cut in sorted(cuts, key=lambda one: one.start_s):
        left = max(area.x(cut.start_s), box.left())
        right = min(area.x(cut.end_s), box.right())
        x = (left + right) / 2
        if right < left or x - free[cut.up] < _CUT_PX:
            continue
        free[cut.up] = x
        y = box.top() + radius + 2 if cut.up else box.bottom() - radius - 2
        shape = Shape.TRIANGLE if cut.up else Shape.WEDGE
        draw(painter, shape, QPointF(x, y), radius, QColor(frame.theme.ground), edge=colour)


def draw_end_labels(
    painter: QPainter,
    stamps: Stamps,
    area: Area,
    frame: Frame,
    labels: list[EndLabel],
    *,
    head: float = 0.0,
) -> None:
    """Shape, name and value where each line ends, moved apart where lines meet.

    ``head``: pixels at the top of the panel that are kept for other words.

    Where the panel is too low for all, or too narrow for one, they are smaller; of those that
    still do not fit the ones that call for nothing are left out.
    """
    box = area.box.adjusted(0, min(head, 0.3 * area.box.height()), 0, 0)
    left_end, right_end = box.left(), box.right()
    places = [area.x(label.t_s) for label in labels]
    labels = [
        one for one, x in zip(labels, places, strict=True) if left_end <= x <= right_end + 0.5
    ]
    if not labels:
        return
    plain = lettering(painter.font())
    beside = _BEFORE_LABEL + 1.6 * (radius_for(plain.metrics) + 1) + 2
    # As much room as a picture that follows leaves them: near the edge they lie on the line.
    kept = min(LABEL_SIGNS * plain.metrics.averageCharWidth(), 0.35 * box.width()) - beside
    # A little less, as glyphs of another size are not as wide as they are high.
    share = min(
        0.94 * max(right_end - area.x(label.t_s) - beside, kept) / max(plain.width(label.text), 1)
        for label in labels
    )
    letters = _shrunk(plain, min(share, (box.height() / len(labels) - 1) / plain.line))
    height = letters.line + 1
    labels = fitting(labels, int(box.height() / height))
    radius = min(radius_for(letters.metrics) + 1, height / 2)
    ends = [area.y(label.value) for label in labels]
    middles = spread(ends, height, box.top(), box.bottom())
    ratio = painter.device().devicePixelRatio()
    theme = frame.theme
    ground, ink, faint = (QColor(c) for c in (theme.ground, theme.ink, theme.faint))
    pen = line_pen(theme.faint)
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setFont(letters.font)
    above = (height - letters.line) / 2
    for label, end, middle in zip(labels, ends, middles, strict=True):
        x = area.x(label.t_s)
        style = frame.styles[label.number]
        wanted = min(letters.width(label.text), kept)
        left = min(x + _BEFORE_LABEL, right_end - 2 - wanted - 1.6 * radius)
        if abs(middle - end) > 2 and left > x:
            painter.setPen(pen)
            painter.drawLine(QPointF(x + 2, end), QPointF(left - radius, middle))
        colour = QColor(style.colour(theme))
        stamps.put(painter, stamps.get(style.shape, radius, colour, ground, ratio), left, middle)
        start, top = left + 1.6 * radius, middle - height / 2
        room = right_end - 2 - start
        wide = min(letters.width(label.text), room)
        painter.fillRect(QRectF(start - 2, top, wide + 4, height), ground)
        painter.setPen(faint if label.faint else ink)
        letters.put(painter, start, top + above, label.text, room)
    painter.restore()


_SMALLEST: Final = 0.72
"""Of the text's size; smaller could not be read."""
_BEFORE_LABEL: Final = 14.0
"""Pixels from the end of a line to the shape of its label."""


def _shrunk(letters: Lettering, share: float) -> Lettering:
    """Letters of this share of their size, down to the smallest that can be read."""
    if share >= 1:
        return letters
    font = QFont(letters.font)
    # In quarters of a point: each further font has its words shaped anew.
    wanted = math.floor(4 * font.pointSizeF() * max(share, _SMALLEST)) / 4
    font.setPointSizeF(max(wanted, _SMALLEST * font.pointSizeF()))
    return lettering(font)


def fitting(labels: list[EndLabel], count: int) -> list[EndLabel]:
    """As many as there is room for, those to be kept first."""
    if len(labels) <= count:
        return labels
    kept = sorted(labels, key=lambda label: not label.first)[: max(count, 1)]
    numbers = {label.number for label in kept}
    return [label for label in labels if label.number in numbers]
