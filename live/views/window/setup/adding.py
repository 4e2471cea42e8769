"""The two small dialogs that add a sensor nobody can hear: a topic, or a simulated one."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFormLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from live.simulated.kinds import KINDS
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.setup.parts import sentence
from replay.errors import PlanError
from replay.message_form import parse_message_form
from replay.plan import PlannedSensor

_PLACE_OF = {
    "strap": "chest",
    "wrist": "left wrist",
    "arm": "right upper arm",
    "steps": "left foot",
}
_COMPANIONS = frozenset({"strokes", "steps"})


class AddDialog(QDialog):
    """A form with a button to add and one to leave.  ``added``: the sensor."""

    added = Signal(object)

    def __init__(self, title: str, parent: QWidget | None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle(title)
        self.setAccessibleName(title)
        self.form = QFormLayout()
        self.form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self.told = sentence(kind="alarm")
        self.add = QPushButton("&Add")
        self.add.setDefault(True)
        self.add.clicked.connect(self._add)
        leave = QPushButton("&Cancel")
        leave.clicked.connect(self.reject)
        row = QWidget()
        flow = FlowLayout(row, gap=8)
        flow.addWidget(self.add)
        flow.addWidget(leave)
        layout = QVBoxLayout(self)
        layout.addLayout(self.form)
        layout.addWidget(self.told)
        layout.addWidget(row)
        self.told.hide()

    def sensor(self) -> PlannedSensor | str:
        """The sensor, or a sentence saying what is missing."""
        raise NotImplementedError

    def _add(self) -> None:
        found = self.sensor()
        if isinstance(found, str):
            self.told.setText(found)
            self.told.show()
            return
        self.accept()
        self.added.emit(found)


class AddTopic(AddDialog):
    """A sensor that comes over MQTT."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("Add a sensor that comes over MQTT", parent)
        self.topic = QLineEdit()
        self.topic.setPlaceholderText("gym/sorrel/hr")
        self.topic.setAccessibleName("Topic that carries its heart rate")
        self.label = QLineEdit()
        self.label.setAccessibleName("Label")
        self.value = QLineEdit()
        self.value.setPlaceholderText("heart.bpm, where a message is JSON")
        self.value.setAccessibleName("Where in a JSON message the heart rate stands")
        self.form.addRow("&topic", self.topic)
        self.form.addRow("&value at", self.value)
        self.form.addRow("&label", self.label)
        self.form.addRow(sentence("The broker is set on the page, below the session."))
        self.topic.setFocus()

    def sensor(self) -> PlannedSensor | str:
        """The sensor, or a sentence saying what is missing."""
        topic = self.topic.text().strip()
        if not topic:
            return "Give the topic."
        if any(sign in topic for sign in "+#"):
            return "Give one topic, without the wildcards + and #."
        label = self.label.text().strip() or topic.split("/")[0] or topic
        form = None
        if value := self.value.text().strip():
            try:
                form = parse_message_form("message", {"value": value})
            except PlanError:
                return "Say where the value stands as names joined by dots, such as heart.bpm."
        return PlannedSensor(label=label, role="test", source="mqtt", topic=topic, message=form)


class AddSimulated(AddDialog):
    """A simulated sensor, for practice."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("Add a simulated sensor", parent)
        self.kind = QComboBox()
        self.kind.setAccessibleName("Kind of simulated sensor")
        name_parts(self.kind)
        for name, kind in KINDS.items():
            self.kind.addItem(kind.summary, name)
        self.label = QLineEdit()
        self.label.setAccessibleName("Label")
        self.label.setPlaceholderText("as the kind is called")
        self.form.addRow("&kind", self.kind)
        self.form.addRow("&label", self.label)
        self.form.addRow(
            sentence("Its readings are invented; the session is marked so wherever it is shown.")
        )
        self.kind.setFocus()

    def sensor(self) -> PlannedSensor | str:
        """The sensor, or a sentence saying what is missing."""
        kind = str(self.kind.currentData())
        family = kind.split("-", maxsplit=1)[0]
        role = "companion" if kind in _COMPANIONS else "test"
        return PlannedSensor(
            label=self.label.text().strip() or kind,
            role="reference" if family == "strap" else role,
            placement=_PLACE_OF.get(family, "ergometer"),
            source="simulated",
            kind=kind,
        )
