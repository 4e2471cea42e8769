"""One payload: its bytes, and below them what each of them says."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontDatabase, QFontMetricsF, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from live.views.window.parts.canvas import elided, line_pen
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.theme import LIGHT, Theme
from replay.payloads.fields import Field

_PAD: Final = 6.0


class BytesView(QWidget):
    """Fields side by side, each a box of its bytes, name and value; on as many rows as needed."""

    def __init__(self, faults: DrawingFaults) -> None:
        super().__init__()
        self._faults = faults
        self._payload = b""
        self._fields: tuple[Field, ...] = ()
        self.theme: Theme = LIGHT
        self.setAccessibleName("Bytes of the notification")
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def show_payload(self, payload: bytes, fields: tuple[Field, ...]) -> None:
        """Show another payload."""
        if (payload, fields) == (self._payload, self._fields):
            return
        self._payload, self._fields = payload, fields
        self.setAccessibleDescription(spoken(payload, fields))
        self.updateGeometry()
        self.update()

    def heightForWidth(self, width: int) -> int:
        """As many rows as the fields need."""
        boxes = self._boxes(float(width))
        return round(max((box.bottom() for _, box in boxes), default=self._row_height()) + 2)

    def sizeHint(self) -> QSize:
        """A row at a usual width."""
        return QSize(260, self.heightForWidth(max(self.width(), 200)))

    def minimumSizeHint(self) -> QSize:
        """One row."""
        return QSize(160, round(self._row_height()))

    def _row_height(self) -> float:
        return 3 * QFontMetricsF(self.font()).height() + 2 * _PAD

    def _boxes(self, width: float) -> list[tuple[Field, QRectF]]:
        fixed = QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont)
        fixed.setPointSizeF(self.font().pointSizeF())
        hexed, plain = QFontMetricsF(fixed), QFontMetricsF(self.font())
        placed, x, y = [], 0.0, 1.0
        for one in self._fields:
            raw = self._payload[one.start : one.end].hex(" ")
            wanted = max(
                hexed.horizontalAdvance(raw),
                plain.horizontalAdvance(one.name),
                plain.horizontalAdvance(_value(one)),
            )
            wide = min(wanted + 2 * _PAD + 1, width)
            if x > 0 and x + wide > width:
                x, y = 0.0, y + self._row_height() + 4
            placed.append((one, QRectF(x, y, wide, self._row_height())))
            x += wide + 4
        return placed

    def paintEvent(self, event: QPaintEvent) -> None:
        """Called by Qt."""
        del event
        painter = QPainter(self)
        with self._faults.guard("bytes"):
            self._paint(painter)
        painter.end()

    def _paint(self, painter: QPainter) -> None:
        theme = self.theme
        fixed = QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont)
        fixed.setPointSizeF(self.font().pointSizeF())
        high = QFontMetricsF(self.font()).height()
        flags = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        for place, (one, box) in enumerate(self._boxes(float(self.width()))):
            painter.fillRect(box, QColor(theme.panel if place % 2 else theme.ground))
            painter.setPen(line_pen(theme.rule if one.sound else theme.alarm, dashed=not one.sound))
            painter.drawRect(box.adjusted(0.5, 0.5, -0.5, -0.5))
            row = QRectF(box.left() + _PAD, box.top() + _PAD, box.width() - 2 * _PAD, high)
            painter.setFont(fixed)
            painter.setPen(QColor(theme.ink))
            raw = self._payload[one.start : one.end].hex(" ")
            painter.drawText(row, flags, elided(raw, QFontMetricsF(fixed), row.width()))
            painter.setFont(self.font())
            metrics = QFontMetricsF(self.font())
            painter.setPen(QColor(theme.faint if one.sound else theme.alarm))
            name = elided(one.name, metrics, row.width())
            painter.drawText(row.translated(0, high), flags, name)
            painter.setPen(QColor(theme.ink))
            value = elided(_value(one), metrics, row.width())
            painter.drawText(row.translated(0, 2 * high), flags, value)


def _value(one: Field) -> str:
    return f"{one.value} {one.unit}".rstrip() if one.sound else "not understood"


def spoken(payload: bytes, fields: tuple[Field, ...]) -> str:
    """The fields as a screen reader speaks them."""
    parts = [
        f"bytes {one.start} to {one.end - 1}, {payload[one.start : one.end].hex(' ')}: "
        f"{one.name} {_value(one)}"
        for one in fields
    ]
    return "; ".join(parts) or "no bytes"
