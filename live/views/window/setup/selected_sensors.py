"""The sensors that are worn: a card each, with label, role and placement."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Final

from PySide6.QtCore import QEvent, QObject, QPointF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFocusEvent, QMouseEvent, QPainter, QPaintEvent, QWheelEvent
from PySide6.QtWidgets import (
    QComboBox,
    QFrame,
    QGridLayout,
    QLineEdit,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from live.setup.places import NOT_WORN, PLACES
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.shapes import draw
from live.views.window.parts.theme import LIGHT, SensorStyle, Theme, planned_styles
from live.views.window.setup.parts import sentence
from replay.plan import ROLES, PlannedSensor

ROLE_WORDS: Final = {"reference": "reference", "test": "under test", "companion": "companion"}
Change = Callable[[int, str, str], None]
"""Called with the sensor's place in the list, the field and its new text."""


class SensorIcon(QWidget):
    """The shape and colour by which the sensor will be known on the screen."""

    def __init__(self) -> None:
        super().__init__()
        self.theme = LIGHT
        self.sensor_style: SensorStyle | None = None

    def sizeHint(self) -> QSize:
        """A little more than a line of text."""
        side = round(1.5 * self.fontMetrics().height())
        return QSize(side, side)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: ARG002
        """The shape; nothing for a companion."""
        style = self.sensor_style
        if style is None:
            return
        painter = QPainter(self)
        middle = QPointF(self.width() / 2, self.height() / 2)
        radius = 0.3 * min(self.width(), self.sizeHint().height())
        draw(painter, style.shape, middle, radius, QColor(style.colour(self.theme)))
        painter.end()


class SensorEditor(QFrame):
    """One sensor's card."""

    picked = Signal()
    removed = Signal()

    def __init__(self, change: Callable[[str, str], None]) -> None:
        super().__init__()
        self.setObjectName("card")
        self.sign = SensorIcon()
        self.label = QLineEdit()
        self.label.setMaxLength(40)
        self.label.textEdited.connect(lambda text: change("label", text))
        self.role = QComboBox()
        for role in ROLES:
            self.role.addItem(ROLE_WORDS[role], role)
        self.role.activated.connect(lambda _: change("role", self.role.currentData()))
        self.placement = QComboBox()
        self.placement.setEditable(True)
        where = QLineEdit()
        self.placement.setLineEdit(where)
        self.placement.addItems([*PLACES, *NOT_WORN])
        self.placement.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        where.setPlaceholderText("worn where?")
        where.textEdited.connect(lambda text: change("placement", text))
        self.placement.textActivated.connect(lambda text: change("placement", text))
        self.remove = QToolButton()
        self.remove.setText("remove")
        self.remove.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.remove.clicked.connect(self.removed)
        self.facts = sentence()
        # Large text in a narrow column: fields go on in a second line instead of being cut.
        fields = QWidget()
        flow = FlowLayout(fields, gap=6)
        flow.setContentsMargins(0, 0, 0, 0)
        for field in (self.label, self.role, self.placement):
            flow.addWidget(field)
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        fields.setSizePolicy(policy)
        grid = QGridLayout(self)
        grid.setContentsMargins(8, 6, 8, 6)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(4)
        grid.addWidget(self.sign, 0, 0)
        grid.addWidget(fields, 0, 1, 1, 2)
        grid.addWidget(self.facts, 1, 1)
        grid.addWidget(self.remove, 1, 2, Qt.AlignmentFlag.AlignRight)
        grid.setColumnStretch(1, 1)
        self.apply_theme(LIGHT)
        for part in (self.label, self.role, self.placement, where, self.remove):
            part.installEventFilter(self)

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme; fields as wide as the longest usual text needs, beside their frames."""
        self.sign.theme = theme
        metrics = self.fontMetrics()
        letter, frame = metrics.averageCharWidth(), 12
        self.label.setFixedWidth(17 * letter + frame)
        longest = max(map(metrics.horizontalAdvance, PLACES))
        self.placement.setFixedWidth(longest + 2 * frame + metrics.height())
        self.sign.update()

    def changeEvent(self, event: QEvent) -> None:
        """Larger text asks for wider fields."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange and hasattr(self, "facts"):
            self.apply_theme(self.sign.theme)

    def show_sensor(self, sensor: PlannedSensor, style: SensorStyle | None, facts: str) -> None:
        """Show a sensor; a field that is being typed into already holds its text."""
        self.sign.sensor_style = style
        self.sign.update()
        if self.label.text() != sensor.label:
            self.label.setText(sensor.label)
        self.role.setCurrentIndex(ROLES.index(sensor.role))
        if self.placement.currentText() != sensor.placement:
            self.placement.setEditText(sensor.placement)
        self.show_facts(facts)
        name = sensor.label or "this sensor"
        self.label.setAccessibleName(f"Label of {name}")
        self.role.setAccessibleName(f"Role of {name}")
        self.placement.setAccessibleName(f"Placement of {name}")
        name_parts(self.role)
        name_parts(self.placement)
        self.remove.setAccessibleName(f"Remove {name} from the plan")
        self.sign.setAccessibleName(f"Sign of {name}: {style.shape if style else 'none'}")

    def show_facts(self, facts: str) -> None:
        """What is known of it from listening."""
        if self.facts.text() != facts:
            self.facts.setText(facts)

    def show_chosen(self, chosen: bool) -> None:
        """Whether the body map places this sensor."""
        if self.property("chosen") != chosen:
            self.setProperty("chosen", chosen)
            self.style().unpolish(self)
            self.style().polish(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """A card whose field is entered is the one that the body map places."""
        if isinstance(event, QFocusEvent) and event.gotFocus():
            self.picked.emit()
        elif isinstance(event, QWheelEvent) and isinstance(watched, QComboBox):
            # Scrolling past must not change a role.
            event.ignore()
            return True
        return super().eventFilter(watched, event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A click anywhere on the card chooses it."""
        self.picked.emit()
        super().mousePressEvent(event)


class SelectedSensors(QWidget):
    """All cards.  ``picked`` and ``removed``: the sensor's place in the list."""

    picked = Signal(int)
    removed = Signal(int)

    def __init__(self, change: Change) -> None:
        super().__init__()
        self._change = change
        self.theme = LIGHT
        self.editors: list[SensorEditor] = []
        self._rows = QVBoxLayout(self)
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.setSpacing(6)
        self.setAccessibleName("Sensors that are worn")

    def show_sensors(
        self, sensors: Sequence[PlannedSensor], facts: Sequence[str], chosen: int
    ) -> None:
        """Show these; ``facts``: one text each; ``chosen``: which one the body map places."""
        if len(sensors) != len(self.editors):
            self._lay_out(len(sensors))
        styles = planned_styles(sensors)
        for index, editor in enumerate(self.editors):
            editor.show_sensor(sensors[index], styles[index], facts[index])
            editor.show_chosen(index == chosen)

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        self.theme = theme
        for editor in self.editors:
            editor.apply_theme(theme)

    def _lay_out(self, count: int) -> None:
        # Cards are filled anew each time, so only their number matters; a card that is deleted
        # while it has the keyboard would hand it to its neighbour.
        while len(self.editors) > count:
            editor = self.editors.pop()
            self._rows.removeWidget(editor)
            editor.hide()
            editor.deleteLater()
        for index in range(len(self.editors), count):
            editor = SensorEditor(partial(self._change, index))
            editor.picked.connect(lambda index=index: self.picked.emit(index))
            editor.removed.connect(lambda index=index: self.removed.emit(index))
            editor.apply_theme(self.theme)
            self._rows.addWidget(editor)
            self.editors.append(editor)
