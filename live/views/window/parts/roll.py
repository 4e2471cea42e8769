"""Pictures that are kept from one frame to the next.

Most of a panel that follows a session stood there before, a few pixels further to the right.
Painting it costs some hundred calls of Qt; moving it, and painting the strip that is new, a few.
What is kept is what a whole painting would be, to the pixel: times stand on whole pixels
(:class:`~live.views.window.parts.span.TimeSpan`), and nothing in it depends on where the panel
begins or ends.  What does is painted over it at each frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter, QPixmap, QRegion

from live.views.window.parts.canvas import Area

_OFF_PX: Final = 0.02
"""So near to a whole pixel a movement is taken for one."""


class KeptPicture:
    """A picture of a panel's box, painted anew when ``key`` is another."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] = ()
        self._picture = QPixmap()

    def draw(
        self,
        painter: QPainter,
        area: Area,
        key: tuple[object, ...],
        *,
        ground: QColor,
        paint: Callable[[QPainter], None],
    ) -> None:
        """Put the picture of ``area`` there."""
        ratio = painter.device().devicePixelRatio()
        place = _place(area.box)
        key = (*key, place, ratio)
        if key != self._key:
            self._key = ()  # what fails half-way is painted anew
            self._picture = _blank(place, ratio, ground)
            with _Brush(self._picture, painter, place) as brush:
                paint(brush)
            self._key = key
        painter.drawPixmap(place.topLeft(), self._picture)


class Roll:
    """A picture on a time axis that moves on."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] = ()
        self._x_scale = self._x_zero = 0.0
        self._picture = QPixmap()

    def draw(
        self,
        painter: QPainter,
        area: Area,
        key: tuple[object, ...],
        *,
        ground: QColor,
        news: float,
        margin: float,
        spare: int,
        paint: Callable[[QPainter, float], None],
    ) -> None:
        """Put the picture of ``area`` there.

        ``key``: all that what is kept depends on, but for the times; ``news``: the pixel from
        which on something else is to be seen than at the last call; ``margin``: pixels by which
        what is painted for a moment may reach to either side of it; ``spare``: pixels beside the
        box that are painted and not shown, for lines that are not the same where they are cut off;
        ``paint``: called with a painter and the pixel from which on to paint.
        """
        ratio = painter.device().devicePixelRatio()
        place = _place(area.box).adjusted(-spare, 0, spare, 0)
        key = (*key, place, ratio, area.y_scale, area.y_zero)
        wide = place.width()
        moved = (self._x_zero - area.x_zero) * ratio
        step = round(moved)
        far = max(abs(area.box.left() - area.x_zero), abs(area.box.right() - area.x_zero))
        stands = (
            key == self._key
            and abs(moved - step) < _OFF_PX
            and 0 <= step < wide * ratio
            and abs(area.x_scale / self._x_scale - 1) * far < _OFF_PX
        )
        if stands:
            left = min(news, place.right())
            if step:
                left = min(left, place.right() - step / ratio - margin)
                self._picture.scroll(-step, 0, self._picture.rect(), QRegion())
            # What is new altogether begins at no moment: all of it is painted.
            left = math.floor(max(left, place.left()) * ratio) / ratio
        else:
            left = place.left()
            self._picture = _blank(place, ratio, ground)
            self._x_zero, self._x_scale = area.x_zero, area.x_scale
        self._key = ()  # what fails half-way is painted anew
        if left < place.right():
            with _Brush(self._picture, painter, place) as brush:
                strip = QRectF(left, place.top(), place.right() - left, place.height())
                brush.setClipRect(strip)
                brush.fillRect(strip, ground)
                paint(brush, left)
        self._key = key
        # By what it was moved, not by what was asked for: parts of pixels must not add up.
        self._x_zero -= step / ratio if stands else 0.0
        painter.drawPixmap(place.topLeft(), self._picture)


def _place(box: QRectF) -> QRectF:
    """The whole pixels that a box lies in."""
    edges = (round(edge, 3) for edge in (box.left(), box.top(), box.right(), box.bottom()))
    left, top, right, bottom = edges  # where a box ends varies by parts of a millionth
    left, top = math.floor(left), math.floor(top)
    return QRectF(left, top, math.ceil(right) - left, math.ceil(bottom) - top)


def _blank(place: QRectF, ratio: float, ground: QColor) -> QPixmap:
    """Opaque: letters of coloured pixels have no place on a ground that is not known."""
    picture = QPixmap(math.ceil(place.width() * ratio), math.ceil(place.height() * ratio))
    picture.setDevicePixelRatio(ratio)
    picture.fill(ground)
    return picture


class _Brush:
    """A painter into a picture, in the pixels and the font of the panel's own painter."""

    def __init__(self, picture: QPixmap, like: QPainter, place: QRectF) -> None:
        self._painter = QPainter(picture)
        self._painter.translate(QPointF(-place.left(), -place.top()))
        self._painter.setFont(like.font())

    def __enter__(self) -> QPainter:
        return self._painter

    def __exit__(self, *_: object) -> None:
        self._painter.end()
