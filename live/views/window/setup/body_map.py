"""A body map with the places where sensors are worn; each place is a button of its own.

Front view: the wearer's left is on the right of the picture, and says so.  The places can be
reached with Tab and the arrow keys, and a screen reader speaks them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from PySide6.QtCore import QPoint, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPainterPathStroker,
    QPaintEvent,
    QPen,
    QResizeEvent,
)
from PySide6.QtWidgets import QAbstractButton, QSizePolicy, QToolTip, QWidget

from live.setup.places import PLACES
from live.views.window.parts.plain_text import tip
from live.views.window.parts.shapes import draw
from live.views.window.parts.theme import LIGHT, SensorStyle, Theme
from replay.placement import mirrored, side

_SIZE: Final = (124.0, 208.0)
"""The map's own units; x from −62 (the wearer's right) to 62, y downwards."""

_RIGHT_HALF: Final = {
    "wrist": (-39.0, 105.0),
    "upper arm": (-27.5, 60.0),
    "forearm": (-34.5, 85.0),
    "finger": (-44.0, 125.0),
    "ear": (-13.0, 18.0),
    "calf": (-11.5, 155.0),
    "foot": (-15.0, 197.0),
}
_MIDDLE: Final = {"chest": (0.0, 56.0), "forehead": (0.0, 7.0), "waist": (0.0, 94.0)}


def _spots() -> dict[str, QPointF]:
    spots = {name: QPointF(*at) for name, at in _MIDDLE.items()}
    for name, (x, y) in _RIGHT_HALF.items():
        spots[f"right {name}"] = QPointF(x, y)
        spots[f"left {name}"] = QPointF(-x, y)
    return spots


SPOTS: Final = _spots()
"""Where each place of :data:`~live.setup.places.PLACES` lies on the map."""


@dataclass(frozen=True, slots=True)
class PlacedSensor:
    """One sensor on the map."""

    label: str
    style: SensorStyle | None


def _limb(path: QPainterPath, width: float, *points: tuple[float, float]) -> QPainterPath:
    line = QPainterPath(QPointF(*points[0]))
    for point in points[1:]:
        line.lineTo(QPointF(*point))
    pen = QPainterPathStroker()
    pen.setWidth(width)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    return path.united(pen.createStroke(line))


@cache  # uniting its parts is the dearest thing about the map
def body() -> QPainterPath:
    """The outline of a standing person, arms a little away from the trunk; only to be drawn."""
    path = QPainterPath()
    path.setFillRule(Qt.FillRule.WindingFill)
    path.addEllipse(QPointF(0, 16), 11, 14)
    path = _limb(path, 9, (0, 28), (0, 40))
    trunk = QPainterPath(QPointF(-21, 40))
    trunk.cubicTo(QPointF(-10, 34), QPointF(10, 34), QPointF(21, 40))
    trunk.cubicTo(QPointF(20, 62), QPointF(14, 76), QPointF(17, 104))
    trunk.lineTo(QPointF(-17, 104))
    trunk.cubicTo(QPointF(-14, 76), QPointF(-20, 62), QPointF(-21, 40))
    path = path.united(trunk)
    for way in (-1, 1):
        path = _limb(path, 11, (way * 20, 44), (way * 31, 73))
        path = _limb(path, 8.5, (way * 31, 73), (way * 39, 107))
        path = _limb(path, 7.5, (way * 39, 107), (way * 42, 117))
        path = _limb(path, 3.5, (way * 42, 117), (way * 44.5, 127))
        path = _limb(path, 15, (way * 9.5, 106), (way * 11, 140))
        path = _limb(path, 11, (way * 11, 140), (way * 11.5, 184))
        path = _limb(path, 9, (way * 11.5, 187), (way * 16, 197))
    return path.simplified()


class PlaceButton(QAbstractButton):
    """One place: a ring, or the shapes of the sensors worn there."""

    def __init__(self, place: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.place = place
        self.theme = LIGHT
        self.placed: Sequence[PlacedSensor] = ()
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.show_placed(())

    def show_placed(self, placed: Sequence[PlacedSensor]) -> None:
        """The sensors worn here."""
        self.placed = tuple(placed)
        who = ", ".join(one.label for one in placed)
        words = f"{self.place}: {who}" if who else self.place
        self.setToolTip(tip(words))
        self.setAccessibleName(words)
        self.update()

    def sizeHint(self) -> QSize:
        """A target that a finger hits."""
        side_px = max(24, round(1.7 * QFontMetricsF(self.font()).height()))
        return QSize(side_px, side_px)

    def hitButton(self, pos: QPoint) -> bool:
        """The ring that is drawn, not the square about it, which reaches into the next place."""
        step = QPointF(pos) - QRectF(self.rect()).center()
        return math.hypot(step.x(), step.y()) <= self.width() / 2

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter chooses, as Space does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002
        """The ring, what is worn, and the focus."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme = self.theme
        box = QRectF(self.rect()).adjusted(2, 2, -2, -2)
        radius = box.width() / 2
        pen = QPen(QColor(theme.ink), 1.4)
        if self.isChecked():
            pen = QPen(QColor(theme.focus), 3)
        if not (self.isEnabled() or self.placed):
            pen = QPen(QColor(theme.rule), 1.2)
        painter.setPen(pen)
        painter.setBrush(QColor(theme.panel if self.underMouse() else theme.ground))
        ring = 0.62 * radius if not (self.placed or self.isChecked()) else 0.95 * radius
        painter.drawEllipse(box.center(), ring, ring)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(theme.focus), 2, Qt.PenStyle.DotLine))
            painter.drawRect(box.adjusted(-1, -1, 1, 1))
        count = len(self.placed)
        for index, one in enumerate(self.placed):
            across = 0.0 if count == 1 else (index / (count - 1) - 0.5) * radius * 0.8
            at = box.center() + QPointF(across, 0)
            size = 0.5 * radius if count == 1 else 0.36 * radius
            if one.style is None:
                painter.setPen(Qt.PenStyle.NoPen)
                painter.setBrush(QColor(theme.faint))
                painter.drawEllipse(at, size * 0.6, size * 0.6)
            else:
                draw(painter, one.style.shape, at, size, QColor(one.style.colour(theme)))
        painter.end()


class BodyMap(QWidget):
    """The body and its places.  ``chosen``: a place was picked, by its name."""

    chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.theme = LIGHT
        self.room = 0
        """Height that can be seen at once; 0 if not known.  The map is no higher if it can."""
        self.names_places = False
        """Only to be looked at: beside each place its sensor is named, and no place is empty."""
        self._body = body()
        self.setAccessibleName("Body sketch: places where a sensor is worn")
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.buttons = {place: PlaceButton(place, self) for place in PLACES}
        for button in self.buttons.values():
            button.clicked.connect(lambda _=False, place=button.place: self.chosen.emit(place))

    def minimumSizeHint(self) -> QSize:
        """Small enough for a low window, large enough that no two places touch."""
        high = max(300, round(14 * QFontMetricsF(self.font()).height()))
        return QSize(round(high * _SIZE[0] / _SIZE[1]), high)

    def sizeHint(self) -> QSize:
        """As high as there is room for, within what is still one glance."""
        line = QFontMetricsF(self.font()).height()
        high = min(self.room, round(90 * line)) if self.room else round(31 * line)
        high = max(self.minimumSizeHint().height(), high)
        return QSize(round(high * _SIZE[0] / _SIZE[1]), high)

    def show_placed(
        self, placed: Mapping[str, Sequence[PlacedSensor]], current: str | None
    ) -> None:
        """``placed``: sensors by place.  ``current``: the place of the sensor that is being placed,
        empty if it has none yet; ``None`` if no sensor is chosen.
        """
        for place, button in self.buttons.items():
            button.show_placed(placed.get(place, ()))
            button.setChecked(place == current)
            button.setEnabled(current is not None)
            button.setVisible(not self.names_places or place in placed)
        self.update()

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        self.theme = theme
        for button in self.buttons.values():
            button.theme = theme
        self._place_buttons()
        self.update()

    def _scale(self) -> float:
        return min(self.width() / _SIZE[0], self.height() / _SIZE[1])

    def point_of(self, spot: QPointF) -> QPointF:
        """Where a spot of the body is shown."""
        scale = self._scale()
        left = self.width() / 2
        top = (self.height() - scale * _SIZE[1]) / 2 + 3 * scale
        return QPointF(left + scale * spot.x(), top + scale * spot.y())

    def _place_buttons(self) -> None:
        # No larger than the way to the next place: forearm and wrist lie 20 units apart.
        most = int(17.5 * self._scale())
        for place, button in self.buttons.items():
            side_px = max(18, min(max(button.sizeHint().width(), int(8 * self._scale())), most))
            at = self.point_of(SPOTS[place])
            button.setGeometry(
                round(at.x() - side_px / 2), round(at.y() - side_px / 2), side_px, side_px
            )

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The places move with the body."""
        super().resizeEvent(event)
        self._place_buttons()

    def place_at(self, spot: QPointF) -> str:
        """The place nearest to a spot of the widget, if the spot lies on the body or on a ring."""
        ways = {}
        for place in self.buttons:
            way = self.point_of(SPOTS[place]) - spot
            ways[place] = math.hypot(way.x(), way.y())
        nearest = min(ways, key=lambda place: ways[place])
        own = (spot - self.point_of(QPointF(0, 0))) / self._scale()
        reach = self.buttons[nearest].width() / 2
        return nearest if self._body.contains(own) or ways[nearest] <= reach else ""

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A click on the body chooses the place that it is nearest to."""
        place = self.place_at(event.position())
        if place and self.buttons[place].isEnabled():
            self.buttons[place].click()
        else:
            super().mousePressEvent(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrow keys go to the nearest place in their direction."""
        ways = {
            Qt.Key.Key_Left: QPointF(-1, 0),
            Qt.Key.Key_Right: QPointF(1, 0),
            Qt.Key.Key_Up: QPointF(0, -1),
            Qt.Key.Key_Down: QPointF(0, 1),
        }
        here = next((b for b in self.buttons.values() if b.hasFocus()), None)
        way = ways.get(Qt.Key(event.key()))
        if here is None or way is None:
            super().keyPressEvent(event)
            return
        there = _nearest(here.place, way)
        if there:
            button = self.buttons[there]
            button.setFocus(Qt.FocusReason.TabFocusReason)
            QToolTip.showText(button.mapToGlobal(button.rect().bottomRight()), button.toolTip())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002
        """The body, and which side is which."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.save()
        painter.translate(self.point_of(QPointF(0, 0)))
        painter.scale(self._scale(), self._scale())
        pen = QPen(QColor(self.theme.faint))
        pen.setCosmetic(True)
        pen.setWidthF(1.2)
        painter.setPen(pen)
        painter.setBrush(QColor(self.theme.rule))
        painter.drawPath(self._body)
        painter.restore()
        if self.names_places:
            self._paint_names(painter)
        painter.setPen(QColor(self.theme.faint))
        font = self.font()
        painter.setFont(font)
        line = QFontMetricsF(font).height()
        middle = self.point_of(QPointF(0, 0)).x()
        reach = 31 * self._scale()
        for way, words in ((-1, ("right", "side")), (1, ("left", "side"))):
            for row, word in enumerate(words):
                box = QRectF(0, 0, 20 * line, line)
                box.moveCenter(QPointF(middle + way * reach * 1.25, (0.7 + row) * line))
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, word)
        painter.end()

    def _paint_names(self, painter: QPainter) -> None:
        """Outside of the body, on the side on which the sensor is worn."""
        painter.setPen(QColor(self.theme.ink))
        font = QFont(self.font())
        font.setPixelSize(max(self.fontInfo().pixelSize(), round(3.2 * self._scale())))
        painter.setFont(font)
        for place, button in self.buttons.items():
            words = "\n".join(one.label for one in button.placed)
            box = QRectF(button.geometry())
            if side(place) == "right":  # of the wearer, who looks at us
                box.setLeft(0)
                box.setRight(button.x() - 6)
                flags = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
            elif side(place):
                box.setLeft(button.geometry().right() + 6)
                box.setRight(self.width())
                flags = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
            else:
                box = QRectF(0, box.bottom(), self.width(), 3 * self.fontMetrics().height())
                flags = Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop
            painter.drawText(box, flags | Qt.TextFlag.TextDontClip, words)


def _nearest(place: str, way: QPointF) -> str:
    """The place to which an arrow key leads from another; empty if there is none that way."""
    if way.y() == 0 and side(place) == ("right" if way.x() > 0 else "left") and _is_limb(place):
        return mirrored(place)
    here = SPOTS[place]
    best, found = 1e9, ""
    for other, spot in SPOTS.items():
        step = spot - here
        along = step.x() * way.x() + step.y() * way.y()
        across = abs(step.x() * way.y()) + abs(step.y() * way.x())
        if other != place and along > 0 and along + 2.5 * across < best:
            best, found = along + 2.5 * across, other
    return found


def _is_limb(place: str) -> bool:
    return place in SPOTS and mirrored(place) != place and SPOTS[place].y() > 100
