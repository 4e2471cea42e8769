"""The questions before a note is made: which stretch, which sensor, what for."""

from __future__ import annotations

import re
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.number_format import clock
from live.views.window.parts.plain_text import Label
from replay.plan import Plan

_CLOCK: Final = re.compile(r"(?:(\d{1,3}):)?(\d{1,3}):(\d{1,2}(?:[.,]\d{1,9})?)|(\d+(?:[.,]\d+)?)")
REASONS: Final = ("reference loose or dry", "sensor moved", "break", "not worn", "other activity")
"""Offered, not required: any reason may be written."""


def parse_clock(text: str) -> float | None:
    """Seconds from ``h:mm:ss``, ``m:ss`` or seconds, decimals allowed; ``None`` if unclear."""
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        return None
    hours, minutes, seconds, plain = match.groups()
    if plain is not None:
        return float(plain.replace(",", "."))
    rest = float(seconds.replace(",", "."))
    if rest >= 60 or (hours is not None and int(minutes) >= 60):
        return None
    return 3600 * int(hours or 0) + 60 * int(minutes) + rest


def clock_text(seconds: float) -> str:
    """A time as it may be typed, to a tenth of a second."""
    tenths = round(seconds * 10)
    return f"{clock(tenths // 10)}.{tenths % 10}"


class NoteForm(QDialog):
    """A small form.  ``given``: the answers by name, once they make sense to ``check``."""

    given = Signal(dict)

    def __init__(self, title: str, explanation: str, yes: str, parent: QWidget | None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_WindowPropagation)
        self.setWindowTitle(title)
        self.setAccessibleName(f"{title}. {explanation}")
        words = Label(explanation)
        words.setWordWrap(True)
        self.form = QFormLayout()
        self.problem = Label()
        self.problem.setWordWrap(True)
        self.problem.setAccessibleName("Problem")
        self.problem.hide()
        self.yes = QPushButton(yes)
        self.yes.setDefault(True)
        self.yes.clicked.connect(self.accept)
        no = QPushButton("Cancel")
        no.setAutoDefault(False)
        no.clicked.connect(self.reject)
        row = QHBoxLayout()
        row.addStretch(1)
        row.addWidget(self.yes)
        row.addWidget(no)
        layout = QVBoxLayout(self)
        layout.addWidget(words)
        layout.addLayout(self.form)
        layout.addWidget(self.problem)
        layout.addLayout(row)
        self.setMinimumWidth(round(44 * self.fontMetrics().averageCharWidth() * 1.5))

    def add(self, name: str, field: QWidget) -> None:
        """Add a named field."""
        field.setAccessibleName(name)
        name_parts(field)
        self.form.addRow(name, field)

    def answers(self) -> dict[str, object] | str:
        """The answers, or one sentence on what is wrong with them."""
        raise NotImplementedError

    def accept(self) -> None:
        """Close if the answers make sense, else say what does not."""
        found = self.answers()
        if isinstance(found, str):
            self.problem.setText(found)
            self.problem.show()
            return
        super().accept()
        self.given.emit(found)


class StretchForm(NoteForm):
    """From when to when, with words; for an exclusion also which sensor."""

    def __init__(
        self,
        plan: Plan,
        stretch: tuple[float, float],
        duration_s: float,
        parent: QWidget | None,
        *,
        is_effort: bool,
    ) -> None:
        title = "Mark an effort" if is_effort else "Exclude a stretch"
        explanation = (
            "Marked efforts are used in place of those found on the reference."
            if is_effort
            else "The readings stay in the capture. The numbers are shown with and without it."
        )
        super().__init__(title, explanation, "&Mark" if is_effort else "&Exclude", parent)
        self._duration_s = duration_s
        self._is_effort = is_effort
        self.start = QLineEdit(clock_text(stretch[0]))
        self.end = QLineEdit(clock_text(stretch[1]))
        self.add("from (h:mm:ss)", self.start)
        self.add("to (h:mm:ss)", self.end)
        self.sensor = QComboBox()
        self.reason = QComboBox()
        self.reason.setEditable(True)
        self.text = QLineEdit()
        if is_effort:
            self.add("name (optional)", self.text)
            self.text.setFocus()
        else:
            self.sensor.addItem("all sensors", 0)
            for number in plan.compared:
                role = plan.sensor(number).role
                self.sensor.addItem(f"{plan.sensor(number).label} ({role})", number)
            self.reason.addItems(["", *REASONS])
            self.add("of", self.sensor)
            self.add("reason", self.reason)
            self.reason.setFocus()

    def answers(self) -> dict[str, object] | str:
        """Fields of the note."""
        start, end = parse_clock(self.start.text()), parse_clock(self.end.text())
        if start is None or end is None:
            return "Write times as h:mm:ss, m:ss or seconds."
        end = min(end, self._duration_s)
        if not 0 <= start < end:
            return "The stretch must end after it begins, and begin within the session."
        stretch = {"from_ns": round(start * 1e9), "to_ns": round(end * 1e9)}
        if self._is_effort:
            return {**stretch, "text": self.text.text().strip()}
        reason = self.reason.currentText().strip()
        if not reason:
            return "Give a reason: it is printed beside the numbers."
        return {**stretch, "sensor": self.sensor.currentData(), "reason": reason}


class LabelForm(NoteForm):
    """Another label for a sensor."""

    def __init__(self, plan: Plan, number: int, parent: QWidget | None) -> None:
        super().__init__(
            "Label a sensor",
            "The recording keeps the label it was made with; the new one is shown everywhere.",
            "&Label",
            parent,
        )
        self._plan = plan
        self.sensor = QComboBox()
        for other, sensor in enumerate(plan.sensors, 1):
            self.sensor.addItem(f"{sensor.label} ({sensor.role})", other)
        self.sensor.setCurrentIndex(max(number, 1) - 1)
        self.label = QLineEdit(plan.sensor(max(number, 1)).label)
        self.label.selectAll()
        self.sensor.currentIndexChanged.connect(
            lambda row: self.label.setText(plan.sensor(row + 1).label)
        )
        self.add("sensor", self.sensor)
        self.add("label", self.label)
        self.label.setFocus()

    def answers(self) -> dict[str, object] | str:
        """Fields of the note."""
        label, number = self.label.text().strip(), self.sensor.currentData()
        if not label:
            return "A sensor needs a label."
        if label == self._plan.sensor(number).label:
            return "That is its label already."
        return {"sensor": number, "label": label}
