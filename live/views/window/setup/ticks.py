"""A tick box that is seen in both themes and grows with the text."""

from __future__ import annotations

from PySide6.QtCore import (
    QAbstractItemModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QPointF,
    QRectF,
    Qt,
)
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPen
from PySide6.QtWidgets import QStyledItemDelegate, QStyleOptionViewItem

from live.views.window.parts.theme import LIGHT, Theme

_Index = QModelIndex | QPersistentModelIndex


class TickBoxes(QStyledItemDelegate):
    """Draws and toggles the box of a checkable cell."""

    def __init__(self) -> None:
        super().__init__()
        self.theme: Theme = LIGHT

    def _side(self, option: QStyleOptionViewItem) -> float:
        return 0.95 * option.fontMetrics.height()

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: _Index) -> None:
        """The box, then the cell's text beside it."""
        state = index.data(Qt.ItemDataRole.CheckStateRole)
        if state is None:
            super().paint(painter, option, index)
            return
        side = self._side(option)
        area = QRectF(option.rect)
        beside = QStyleOptionViewItem(option)
        indent = round(side + 12)
        beside.rect = option.rect.adjusted(indent, 0, 0, 0)
        super().paint(painter, beside, index)
        box = QRectF(area.left() + 5, area.center().y() - side / 2, side, side)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(self.theme.ink), 1.3))
        painter.setBrush(QColor(self.theme.ground))
        painter.drawRoundedRect(box, 2, 2)
        if Qt.CheckState(state) == Qt.CheckState.Checked:
            pen = QPen(QColor(self.theme.ink), max(2.0, 0.15 * side))
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            painter.setPen(pen)
            middle = box.center()
            painter.drawPolyline(
                [
                    middle + QPointF(-0.27, 0.02) * side,
                    middle + QPointF(-0.07, 0.22) * side,
                    middle + QPointF(0.28, -0.22) * side,
                ]
            )
        painter.restore()

    def initStyleOption(self, option: QStyleOptionViewItem, index: _Index) -> None:
        """Without the style's own box."""
        super().initStyleOption(option, index)
        option.features &= ~QStyleOptionViewItem.ViewItemFeature.HasCheckIndicator

    def editorEvent(
        self,
        event: QEvent,
        model: QAbstractItemModel,
        option: QStyleOptionViewItem,  # noqa: ARG002
        index: _Index,
    ) -> bool:
        """A click on the cell, or Space, turns the tick."""
        state = index.data(Qt.ItemDataRole.CheckStateRole)
        if state is None:
            return False
        if isinstance(event, QMouseEvent):
            turned = event.type() == QEvent.Type.MouseButtonRelease
        elif isinstance(event, QKeyEvent):
            turned = event.type() == QEvent.Type.KeyPress and event.key() == Qt.Key.Key_Space
        else:
            turned = False
        if not turned:
            return False
        ticked = Qt.CheckState(state) == Qt.CheckState.Checked
        new = Qt.CheckState.Unchecked if ticked else Qt.CheckState.Checked
        return model.setData(index, new.value, Qt.ItemDataRole.CheckStateRole)
