"""Wearer, activity, tolerance, folder, broker, and the details of a published report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QSizePolicy,
    QSpinBox,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from live.setup.plan_builder import DETAILS
from live.simulated.script import SCRIPTS
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.plain_text import Label, tip
from live.views.window.setup.parts import Section, sentence
from replay.broker import Broker


@dataclass(frozen=True, slots=True)
class SessionFacts:
    """What the form holds."""

    wearer: str
    activity: str
    tolerance_bpm: float
    tolerance_percent: float
    broker: Broker
    details: Mapping[str, str]


class SessionForm(QWidget):
    """``edited``: something was changed by hand.  ``out``: ``None`` for practice."""

    edited = Signal()

    def __init__(self, out: Path | None) -> None:
        super().__init__()
        self._others: dict[str, str] = {}
        self._broker = Broker()
        self.wearer = _line("Code of the wearer, never a name", "a code, such as W1", 16)
        self.activity = QComboBox()
        self.activity.setEditable(True)
        done = QLineEdit()
        self.activity.setLineEdit(done)
        self.activity.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.activity.addItems(list(SCRIPTS))
        self.activity.setCurrentText("")
        done.setPlaceholderText("what is done")
        self.activity.setAccessibleName("Activity")
        name_parts(self.activity)
        self.bpm = _number("bpm", "Tolerance in bpm")
        self.percent = _number("%", "Tolerance in percent of the reference")
        self.folder = _line("Folder for the capture file", "where you started the program", 400)
        self.browse = QToolButton()
        self.browse.setText("choose …")
        self.browse.setAccessibleName("Choose the folder for the capture file")
        self.browse.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.browse.clicked.connect(self._browse)
        if out is None:
            self.folder.setText("practice: nothing is saved")
            self.folder.setEnabled(False)
            self.browse.hide()
        else:
            self.folder.setText(str(out))
        self._build()
        for line in (self.wearer, done, self.folder, *self._lines()):
            line.textEdited.connect(self.edited)
        self.activity.textActivated.connect(self.edited)
        for number in (self.bpm, self.percent, self.port):
            number.valueChanged.connect(self.edited)
        self.tls.toggled.connect(self.edited)

    def _build(self) -> None:
        session = Section("Session")
        grid = QGridLayout()
        grid.setVerticalSpacing(5)
        tolerance = QHBoxLayout()
        tolerance.setSpacing(6)
        tolerance.addWidget(self.bpm)
        tolerance.addWidget(Label("or"))
        tolerance.addWidget(self.percent)
        tolerance.addWidget(Label("if greater"))
        tolerance.addStretch(1)
        where = QHBoxLayout()
        where.setSpacing(6)
        where.addWidget(self.folder, 1)
        where.addWidget(self.browse)
        rows: tuple[tuple[str, QWidget | QHBoxLayout], ...] = (
            ("&wearer", self.wearer),
            ("a&ctivity", self.activity),
            ("tolerance ±", tolerance),
            ("&folder", where),
        )
        _fill(grid, rows)
        session.add(grid)
        self.broker = Section("MQTT broker")
        self.host = _line("Host name or address of the broker", "127.0.0.1", 200)
        self.port = QSpinBox()
        self.port.setRange(1, 65535)
        self.port.setAccessibleName("Port of the broker")
        name_parts(self.port)
        self.user = _line("User name at the broker", "none", 100)
        self.password = _line("Environment variable that holds the broker's password", "none", 100)
        self.tls = QCheckBox("encrypted (TLS)")
        grid = QGridLayout()
        _fill(
            grid,
            (
                ("&host", self.host),
                ("p&ort", self.port),
                ("&user", self.user),
                ("password in variable", self.password),
                ("", self.tls),
            ),
        )
        self.broker.add(grid)
        self.details: dict[str, QLineEdit] = {}
        self.report = Section("For a published report (optional)")
        self.unfold = QToolButton()
        self.unfold.setCheckable(True)
        self.unfold.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.unfold.toggled.connect(self._unfold)
        self.report.add(self.unfold)
        self._fields = QWidget()
        grid = QGridLayout(self._fields)
        grid.setContentsMargins(0, 0, 0, 0)
        for name, hint in DETAILS:
            line = _line(f"{name}: {hint}", hint, 200)
            line.setToolTip(tip(hint))
            self.details[name] = line
        _fill(grid, tuple((name, line) for name, line in self.details.items()))
        self.report.add(self._fields)
        self.report.add(sentence("Kept in the plan and in the capture file, and nowhere else."))
        self._unfold(False)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(8)
        for part in (session, self.broker, self.report):
            column.addWidget(part)

    def _lines(self) -> list[QLineEdit]:
        return [self.host, self.user, self.password, *self.details.values()]

    @property
    def out(self) -> Path | None:
        """The folder for the file, ``None`` for practice."""
        return Path(self.folder.text().strip()).expanduser() if self.folder.isEnabled() else None

    def facts(self) -> SessionFacts:
        """What stands in the form now."""
        return SessionFacts(
            wearer=self.wearer.text().strip(),
            activity=self.activity.currentText(),
            tolerance_bpm=self.bpm.value(),
            tolerance_percent=self.percent.value(),
            broker=replace(
                # What the form has no field for stays; without TLS there is no use for its files.
                self._broker if self.tls.isChecked() else Broker(publish=self._broker.publish),
                host=self.host.text().strip() or "127.0.0.1",
                port=self.port.value(),
                username=self.user.text().strip(),
                password_env=self.password.text().strip(),
                tls=self.tls.isChecked(),
            ),
            details={
                **self._others,
                **{name: line.text().strip() for name, line in self.details.items()},
            },
        )

    def show_facts(self, facts: SessionFacts) -> None:
        """Fill the form; details that it has no field for are kept as they are."""
        self.blockSignals(True)
        self.wearer.setText(facts.wearer)
        self.activity.setCurrentText(facts.activity)
        self.bpm.setValue(facts.tolerance_bpm)
        self.percent.setValue(facts.tolerance_percent)
        self.host.setText(facts.broker.host)
        self.port.setValue(facts.broker.port)
        self.user.setText(facts.broker.username)
        self.password.setText(facts.broker.password_env)
        self.tls.setChecked(facts.broker.tls)
        for name, line in self.details.items():
            line.setText(facts.details.get(name, ""))
        self._broker = facts.broker
        self._others = {k: v for k, v in facts.details.items() if k not in self.details}
        self.unfold.setChecked(any(line.text() for line in self.details.values()))
        self.blockSignals(False)

    def _unfold(self, shown: bool) -> None:
        self._fields.setVisible(shown)
        self.unfold.setText("hide the fields" if shown else "skin tone, wrist, temperature …")
        self.unfold.setAccessibleName(
            "Hide the details for a published report"
            if shown
            else "Show the details for a published report"
        )

    def _browse(self) -> None:
        found = QFileDialog.getExistingDirectory(self, "Folder for the capture", self.folder.text())
        if found:
            self.folder.setText(found)
            self.edited.emit()


def _line(name: str, hint: str, longest: int) -> QLineEdit:
    line = QLineEdit()
    line.setAccessibleName(name)
    line.setPlaceholderText(hint)
    line.setMaxLength(longest)
    line.setMinimumWidth(60)
    return line


def _number(unit: str, name: str) -> QDoubleSpinBox:
    number = QDoubleSpinBox()
    number.setRange(0, 100)
    number.setDecimals(1)
    number.setSuffix(f" {unit}")
    number.setAccessibleName(name)
    name_parts(number)
    number.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
    return number


def _fill(grid: QGridLayout, rows: tuple[tuple[str, QWidget | QHBoxLayout], ...]) -> None:
    for row, (words, field) in enumerate(rows):
        label = Label(words)
        grid.addWidget(label, row, 0)
        if isinstance(field, QWidget):
            label.setBuddy(field)
            grid.addWidget(field, row, 1)
        else:
            item = field.itemAt(0)
            first = item.widget() if item is not None else None
            if first is not None:
                label.setBuddy(first)
            grid.addLayout(field, row, 1)
    grid.setColumnStretch(1, 1)
