"""What was suggested and what the tester has noted, in one list with what can be done about it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListView,
    QListWidget,
    QListWidgetItem,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from analysis.session.exclusions import Answer, Suggestion
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.keys import Action
from live.views.window.parts.number_format import clock, duration
from live.views.window.parts.plain_text import Label, tip
from replay.capture import EffectiveNotes, Note
from replay.plan import Plan

ACCEPT: Final = "accept"
REFUSE: Final = "refuse"
TAKE_BACK: Final = "take back"


@dataclass(frozen=True, slots=True)
class Entry:
    """One row: a suggestion or a note (the other is ``None``).  ``t_ns``: where it is."""

    words: str
    t_ns: int | None
    suggestion: Suggestion | None = None
    note: Note | None = None


def entries(
    plan: Plan,
    suggested: Sequence[Suggestion],
    notes: Sequence[Note],
    effective: EffectiveNotes,
) -> list[Entry]:
    """Suggestions with the answers to them, then the other notes, in order of making.

    ``plan``: with the labels that count now.  ``notes``: those that stand.
    """
    rows = []
    state = {
        Answer.OPEN: "suggested, left out unless refused",
        Answer.ACCEPTED: "accepted, left out",
        Answer.REFUSED: "refused, counted",
    }
    for one in suggested:
        stretch = one.stretch
        when = f"{clock(stretch.start_s)} to {clock(stretch.end_s)} ({duration(stretch.seconds)})"
        words = f"{when}: {stretch.reason} – {state[one.answer(effective)]}"
        rows.append(Entry(words, stretch.start_s * 10**9, suggestion=one))
    for note in notes:
        words, t_ns = _words(plan, note)
        if words:
            rows.append(Entry(words, t_ns, note=note))
    return rows


def _words(plan: Plan, note: Note) -> tuple[str, int | None]:
    body = note.body
    if note.kind == "marker":
        return f"{clock(body['t_ns'] / 1e9)}: marker “{note.words('text')}”", body["t_ns"]
    if note.kind == "relabel":
        return f"sensor {body['sensor']} is now called {note.words('label')}", None
    if note.kind not in ("exclusion", "effort"):
        return "", None  # answers stand with their suggestion
    when = f"{clock(body['from_ns'] / 1e9)} to {clock(body['to_ns'] / 1e9)}"
    if note.kind == "effort":
        named = f" “{note.words('text')}”" if note.words("text") else ""
        return f"{when}: effort{named}", body["from_ns"]
    whose = plan.sensor(body["sensor"]).label if body["sensor"] else "all sensors"
    return f"{when}: excluded for {whose}, {note.words('reason')}", body["from_ns"]


class NotesPage(QWidget):
    """The list and its buttons.  ``asked``: what is wanted of an entry (accept, refuse, take
    back); ``wanted``: time of an entry that was chosen with Enter or a double click.
    """

    asked = Signal(str, object)
    wanted = Signal(object)

    def __init__(self, do: Callable[[Action], None]) -> None:
        super().__init__()
        self.rows: list[Entry] = []
        self.list = QListWidget()
        self.list.setAccessibleName("Notes and suggested exclusions")
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setWordWrap(True)
        self.list.setResizeMode(QListView.ResizeMode.Adjust)
        self.list.currentRowChanged.connect(lambda _: self._enable())
        self.list.itemActivated.connect(self._go)
        self.says = Label()
        self.says.setWordWrap(True)
        self.says.setAccessibleName("State of the notes")
        self.says.hide()
        row = QWidget()
        flow = FlowLayout(row)
        flow.setContentsMargins(0, 0, 0, 0)
        self.buttons: dict[str, QToolButton] = {}
        for name, hint, ask in (
            (ACCEPT, "Accept the suggested exclusion", True),
            (REFUSE, "Refuse the suggested exclusion: count these seconds", True),
            (TAKE_BACK, "Take this note back", True),
            ("exclude …", "Exclude the stretch in hand, with a reason (X)", Action.EXCLUDE),
            ("effort …", "Mark the stretch in hand as an effort (Shift+X)", Action.MARK_EFFORT),
            ("label …", "Give a sensor another label (L)", Action.RELABEL),
            ("undo", "Undo the last note (Ctrl+Z)", Action.UNDO),
            ("redo", "Redo what was undone (Ctrl+Shift+Z)", Action.REDO),
        ):
            button = QToolButton()
            button.setText(name)
            button.setToolTip(tip(hint))
            button.setAccessibleName(hint)
            button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
            if isinstance(ask, Action):
                button.clicked.connect(lambda _=False, action=ask: do(action))
            else:
                button.clicked.connect(lambda _=False, name=name: self._ask(name))
            flow.addWidget(button)
            self.buttons[name] = button
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3)
        layout.addWidget(row)
        layout.addWidget(self.says)
        layout.addWidget(self.list, 1)
        self._may_note = True
        self._enable()

    def show_entries(self, rows: list[Entry], *, undo: bool, redo: bool, why_not: str) -> None:
        """Other entries.  ``why_not``: one sentence if no note can be made."""
        self._may_note = not why_not
        self.says.setText(why_not)
        self.says.setVisible(bool(why_not))
        if rows != self.rows:
            at = self.list.currentRow()
            self.rows = rows
            self.list.clear()
            for row in rows:
                item = QListWidgetItem(row.words)
                item.setToolTip(tip(row.words))
                self.list.addItem(item)
            if rows:
                self.list.setCurrentRow(min(max(at, 0), len(rows) - 1))
        self._enable()
        self.buttons["undo"].setEnabled(self._may_note and undo)
        self.buttons["redo"].setEnabled(self._may_note and redo)

    @property
    def chosen(self) -> Entry | None:
        """The entry that the list stands on."""
        row = self.list.currentRow()
        return self.rows[row] if 0 <= row < len(self.rows) else None

    def _enable(self) -> None:
        one = self.chosen
        can = self._may_note and one is not None
        self.buttons[ACCEPT].setEnabled(can and one is not None and one.suggestion is not None)
        self.buttons[REFUSE].setEnabled(can and one is not None and one.suggestion is not None)
        self.buttons[TAKE_BACK].setEnabled(can and one is not None and one.note is not None)
        for name in ("exclude …", "effort …", "label …"):
            self.buttons[name].setEnabled(self._may_note)

    def _ask(self, name: str) -> None:
        if self.chosen is not None:
            self.asked.emit(name, self.chosen)

    def _go(self, item: QListWidgetItem) -> None:
        row = self.list.row(item)
        if 0 <= row < len(self.rows) and self.rows[row].t_ns is not None:
            self.wanted.emit(self.rows[row].t_ns)

    def minimumSizeHint(self) -> QSize:
        """Buttons and a few rows."""
        line = QFontMetricsF(self.font()).height()
        return QSize(360, round(7.5 * line))
