"""The mouse on the time panels: pointing, dragging on the time axis, dragging out a stretch."""

from __future__ import annotations

from enum import Enum, auto

from PySide6.QtCore import QEvent, QObject, QPointF, Qt, Signal
from PySide6.QtGui import QMouseEvent

from live.views.window.parts.chart import Chart


class _DragTarget(Enum):
    NOTHING = auto()
    TIME = auto()
    STRETCH = auto()


class MouseGestures(QObject):
    """Watches a chart.

    ``pointed``: second under the pointer, NaN when it leaves.  ``scrubbed``: second on the time
    axis, and whether the button is still down.  ``stretched``: from, to, and whether it is still
    being dragged.  ``is_stretching``: a drag makes a stretch even without Shift.
    """

    pointed = Signal(float)
    scrubbed = Signal(float, bool)
    stretched = Signal(float, float, bool)

    def __init__(self, chart: Chart) -> None:
        super().__init__(chart)
        self._chart = chart
        self._grip = _DragTarget.NOTHING
        self._from_s = 0.0
        self.is_stretching = False
        self.takes_drags = False
        chart.viewport().setMouseTracking(True)
        chart.viewport().installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Called by Qt; true for what the chart must not see."""
        del watched
        kind = event.type()
        if kind == QEvent.Type.Leave:
            self.pointed.emit(float("nan"))
        if not isinstance(event, QMouseEvent):
            return False
        place = self._chart.mapToScene(event.position().toPoint())
        if kind == QEvent.Type.MouseButtonPress:
            return self._press(event, place)
        if kind == QEvent.Type.MouseMove:
            return self._move(place)
        if kind == QEvent.Type.MouseButtonRelease and self._grip is not _DragTarget.NOTHING:
            self._drag(place, held=False)
            self._grip = _DragTarget.NOTHING
            return True
        return False

    def _press(self, event: QMouseEvent, place: QPointF) -> bool:
        if not self.takes_drags or event.button() is not Qt.MouseButton.LeftButton:
            return False
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        axis = self._chart.bottom.getAxis("bottom")
        if axis.sceneBoundingRect().contains(place):
            self._grip = _DragTarget.TIME
        elif (shift or self.is_stretching) and self._is_inside(place):
            self._grip = _DragTarget.STRETCH
            self._from_s = self._second(place)
        else:
            return False
        self._drag(place, held=True)
        return True

    def _move(self, place: QPointF) -> bool:
        if self._grip is not _DragTarget.NOTHING:
            self._drag(place, held=True)
            return True
        inside = self._is_inside(place)
        self.pointed.emit(self._second(place) if inside else float("nan"))
        return False

    def _drag(self, place: QPointF, *, held: bool) -> None:
        second = self._second(place)
        if self._grip is _DragTarget.TIME:
            self.scrubbed.emit(second, held)
        else:
            self.stretched.emit(self._from_s, second, held)

    def _second(self, place: QPointF) -> float:
        return float(self._chart.bottom.vb.mapSceneToView(place).x())

    def _is_inside(self, place: QPointF) -> bool:
        plots = (self._chart.top, self._chart.middle, self._chart.bottom)
        return any(plot.vb.sceneBoundingRect().contains(place) for plot in plots)
