"""A row of controls that goes on in a second row where the first is full: large text on a small
screen cuts nothing off.
"""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QWidget


class FlowLayout(QLayout):
    """Left to right, then on to the next line; in the middle of its line or ``at_top``."""

    def __init__(
        self, parent: QWidget | None = None, gap: int = 4, *, at_top: bool = False
    ) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self._gap = gap
        self._at_top = at_top
        # Qt asks for them many times in each round in which anything is laid out.
        self._heights: dict[int, int] = {}
        self._hint: QSize | None = None

    def addItem(self, item: QLayoutItem) -> None:
        """Called by Qt for each control."""
        self._items.append(item)
        self.invalidate()

    def invalidate(self) -> None:
        """Called by Qt where a control has become another size, is shown or is hidden."""
        self._heights.clear()
        self._hint = None
        super().invalidate()

    def count(self) -> int:
        """How many controls there are."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        """One control, ``None`` beyond the last, as Qt asks for it."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        """Remove one control."""
        if not 0 <= index < len(self._items):
            return None
        self.invalidate()
        return self._items.pop(index)

    def expandingDirections(self) -> Qt.Orientation:
        """Takes the width it is given."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:
        """Its height follows from its width."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height of all lines at this width."""
        if width not in self._heights:
            self._heights[width] = self._place(QRect(0, 0, width, 0), move=False)
        return self._heights[width]

    def setGeometry(self, rect: QRect) -> None:
        """Called by Qt with the room there is."""
        super().setGeometry(rect)
        self._place(rect, move=True)

    def sizeHint(self) -> QSize:
        """All in one line."""
        if self._hint is None:
            sizes = [item.sizeHint() for item in self._items if not item.isEmpty()]
            width = sum(size.width() + self._gap for size in sizes)
            self._hint = QSize(width, max((size.height() for size in sizes), default=0))
        return self._hint

    def minimumSize(self) -> QSize:
        """The widest control alone."""
        size = QSize(0, 0)
        for item in self._items:
            size = size.expandedTo(item.minimumSize())
        return size

    def _place(self, rect: QRect, *, move: bool) -> int:
        """Put the controls in their places, or only say how high that would be."""
        lines: list[list[QLayoutItem]] = [[]]
        x = 0
        for item in self._items:
            if item.isEmpty():
                continue
            width = item.sizeHint().width()
            if lines[-1] and x + width > rect.width():
                lines.append([])
                x = 0
            lines[-1].append(item)
            x += width + self._gap
        y = rect.y()
        for line in lines:
            high = max((item.sizeHint().height() for item in line), default=0)
            x = rect.x()
            for item in line:
                size = item.sizeHint()
                down = 0 if self._at_top else (high - size.height()) // 2
                if move:
                    item.setGeometry(QRect(QPoint(x, y + down), size))
                x += size.width() + self._gap
            y += high + self._gap
        return y - self._gap - rect.y()
