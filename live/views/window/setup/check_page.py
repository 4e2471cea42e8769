"""The checks before the start, as a list that turns from waiting to ready or to a problem."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from live.setup.checks import Check, State
from live.views.window.parts.appearance import dress
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import LIGHT, Theme, sensor_styles
from live.views.window.setup.body_map import BodyMap, PlacedSensor
from live.views.window.setup.parts import Section, heading, let_go_of, sentence
from replay.event import SESSION
from replay.plan import Plan

_WIDEST: Final = 150
"""Characters of a row: on a wide screen a state must not stand far from what it is the state of."""
_BESIDE: Final = 130
"""Characters of a window in which the sketch of the body finds room beside the checks."""
_LARGEST: Final = 2.4
"""Times the text's size: the checks are read from where the straps are put on, and so they are as
large as they find room for."""
_LINES: Final = 4.5
"""Lines of text that a check asks for, with its margins."""
_ABOVE: Final = 7
"""Lines of text above the checks."""
_SHAPES: Final = {
    State.WAITING: Shape.RING,
    State.READY: Shape.DISC,
    State.CAUTION: Shape.WEDGE,
    State.PROBLEM: Shape.OCTAGON,
}


class StateIcon(QWidget):
    """Shape of a check's state; while it waits, an arc says how much of the time has passed."""

    def __init__(self) -> None:
        super().__init__()
        self.theme = LIGHT
        self.state = State.WAITING
        self.share = 0.0
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        """Two lines of text high."""
        side = round(1.9 * self.fontMetrics().height())
        return QSize(side, side)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002
        """The shape."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme = self.theme
        colour = {
            State.WAITING: theme.faint,
            State.READY: theme.well,
            State.CAUTION: theme.caution,
            State.PROBLEM: theme.alarm,
        }[self.state]
        side = min(self.width(), self.height())
        middle = QPointF(self.width() / 2, self.height() / 2)
        radius = 0.3 * side
        draw(painter, _SHAPES[self.state], middle, radius, QColor(colour))
        if self.state is State.WAITING and self.share > 0:
            box = QRectF(0, 0, 2.7 * radius, 2.7 * radius)
            box.moveCenter(middle)
            painter.setPen(QPen(QColor(theme.focus), 3))
            painter.drawArc(box, 90 * 16, -round(360 * 16 * min(self.share, 1.0)))
        if self.state is State.READY:
            pen = QPen(QColor(theme.ground), max(2.0, 0.09 * side))
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            painter.setPen(pen)
            painter.drawPolyline(
                [
                    middle + QPointF(-0.45, 0.02) * radius,
                    middle + QPointF(-0.12, 0.36) * radius,
                    middle + QPointF(0.45, -0.34) * radius,
                ]
            )
        painter.end()


class CheckRow(QFrame):
    """One check.  ``again``: its sensor is to be tried again at once."""

    again = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self._sensor = SESSION
        self.setObjectName("card")
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.sign = StateIcon()
        self.title = heading("")
        self.state = heading("")
        self.text = sentence(kind="")
        self.retry = QToolButton()
        self.retry.setText("try again")
        self.retry.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.retry.clicked.connect(lambda: self.again.emit(self._sensor))
        grid = QGridLayout(self)
        grid.setContentsMargins(8, 6, 8, 6)
        grid.setHorizontalSpacing(10)
        grid.setVerticalSpacing(2)
        grid.addWidget(self.sign, 0, 0, 2, 1)
        grid.addWidget(self.title, 0, 1)
        grid.addWidget(self.state, 0, 2, Qt.AlignmentFlag.AlignRight)
        grid.addWidget(self.text, 1, 1)
        grid.addWidget(self.retry, 1, 2, Qt.AlignmentFlag.AlignRight)
        grid.setColumnStretch(1, 1)

    def show_check(self, check: Check, theme: Theme) -> None:
        """Show it as it stands."""
        self._sensor = check.sensor
        self.sign.theme, self.sign.state, self.sign.share = theme, check.state, check.share
        self.sign.update()
        for label, text in (
            (self.title, check.title),
            (self.state, check.state.value),
            (self.text, check.sentence),
        ):
            if label.text() != text:
                label.setText(text)
        self.retry.setVisible(check.state is State.PROBLEM and check.sensor != SESSION)
        self.retry.setAccessibleName(f"Try to reach the sensor again: {check.title}")
        spoken = f"{check.title}: {check.state.value}. {check.sentence}"
        if self.accessibleName() != spoken:
            self.setAccessibleName(spoken)


class CheckPage(QScrollArea):
    """All checks of a rehearsal.  ``again``: number of a sensor to be tried again."""

    again = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.theme = LIGHT
        self.rows: list[CheckRow] = []
        self.checks: Sequence[Check] = ()
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Checks before the start")
        self.who = sentence(kind="")
        self.told = sentence(kind="alarm")
        self.section = Section("Before the start")
        self.section.add(self.who)
        self.section.add(self.told)
        self._rows = QVBoxLayout()
        self._rows.setSpacing(6)
        self.section.add(self._rows)
        self.section.column.addStretch(1)
        self.body_map = BodyMap()
        self.placing = Section("Where the plan says it is worn")
        self.body_map.names_places = True
        self.placing.add(self.body_map)
        self.placing.column.addStretch(1)
        inside = QWidget()
        across = QHBoxLayout(inside)
        across.setContentsMargins(0, 0, 0, 0)
        across.setSpacing(8)
        across.addWidget(self.section, 5)
        across.addWidget(self.placing, 2)
        self.setWidget(inside)

    def begin(self, plan: Plan) -> None:
        """Forget the rehearsal before; this plan is rehearsed now."""
        let_go_of(self._rows)
        self.rows = []
        self.checks = ()
        worn = "; ".join(
            f"{s.label} ({s.role if s.role != 'test' else 'under test'}"
            + (f", {s.placement})" if s.placement else ")")
            for s in plan.sensors
        )
        mark = "INVENTED DATA. " if plan.invented else ""
        self.who.setText(f"{mark}{plan.wearer}, {plan.activity}. {worn}.")
        self.say("")
        styles = sensor_styles(plan)
        placed: dict[str, list[PlacedSensor]] = {}
        for number, sensor in enumerate(plan.sensors, 1):
            placed.setdefault(sensor.placement, []).append(
                PlacedSensor(sensor.label, styles.get(number))
            )
        self.body_map.show_placed(placed, None)

    def say(self, problem: str) -> None:
        """A sentence above the checks; empty for none."""
        text = f"{problem[:1].upper()}{problem[1:].rstrip('.')}." if problem else ""
        if self.told.text() != text:
            self.told.setText(text)
        self.told.setVisible(bool(text))

    def show_checks(self, checks: Sequence[Check]) -> None:
        """Show these."""
        self.checks = checks
        while len(self.rows) < len(checks):
            row = CheckRow()
            row.again.connect(self.again)
            self._rows.addWidget(row)
            self.rows.append(row)
            self._fit()
        for row, check in zip(self.rows, checks, strict=False):
            row.show_check(check, self.theme)

    @property
    def not_ready(self) -> list[str]:
        """Titles of the checks that are not ready."""
        able = (State.READY, State.CAUTION)
        return [check.title for check in self.checks if check.state not in able]

    @property
    def cautions(self) -> list[str]:
        """Titles of the checks that are ready, but."""
        return [check.title for check in self.checks if check.state is State.CAUTION]

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        self.theme = theme
        self.body_map.apply_theme(theme)
        self._fit()
        self.show_checks(self.checks)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """As large as there is room for."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        line, letter = self.fontMetrics().height(), self.fontMetrics().averageCharWidth()
        wide, high = self.viewport().width(), self.viewport().height()
        self.placing.setVisible(wide > _BESIDE * letter)
        self.body_map.room = high - 5 * line
        self.body_map.updateGeometry()
        needed = line * (_ABOVE + _LINES * max(len(self.rows), 1))
        # By tenths, so that a window that is drawn larger does not work the text out at each step.
        times = max(1.0, min(_LARGEST, int(10 * high / needed) / 10, wide / (_BESIDE * letter)))
        style = f"QWidget {{ font-size: {times * self.font().pointSizeF():.1f}pt; }}"
        dress(self.section, style)
        self.section.setMaximumWidth(round(times * _WIDEST * letter))
