"""The checks before the start, as a list that turns from waiting to ready or to a problem."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
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
from live.views.window.parts.shapes import Shape, draw
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.setup.parts import Section, heading, let_go_of, sentence
from replay.event import SESSION
from replay.plan import Plan

_WIDEST: Final = 150
"""Characters."""
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
        # On a wide screen a state must not stand far from what it is the state of.
        inside = QWidget()
        across = QHBoxLayout(inside)
        across.setContentsMargins(0, 0, 0, 0)
        across.addWidget(self.section, 100)
        across.addStretch(1)
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
        self.section.setMaximumWidth(_WIDEST * self.fontMetrics().averageCharWidth())
        self.show_checks(self.checks)
