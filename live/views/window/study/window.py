"""The window behind many sessions: pictures, what they say, and the way into each session."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

from PySide6.QtCore import QProcess, Qt, QTimer, QUrl
from PySide6.QtGui import QCloseEvent, QDesktopServices, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QFrame,
    QMainWindow,
    QProgressBar,
    QScrollArea,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from analysis.report.study.shown import is_worth_a_zoom
from analysis.report.study.study_view import ALL, StudyView
from analysis.study.row import SessionRow
from analysis.study.study import Activity, Study
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.appearance import Appearance
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.key_buttons import tool_button
from live.views.window.parts.number_format import duration
from live.views.window.parts.plain_text import ElidedLabel, Label, tip
from live.views.window.parts.preferences import PreferenceStore
from live.views.window.parts.program import Program
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.study.help import study_help
from live.views.window.study.keys import ASK_KEYS, TABS, Ask
from live.views.window.study.pictures import Pictures
from live.views.window.study.source import Read, Reading
from live.views.window.study.words import ALONE, Beside, Tab, count_not_counted

_POLL_MS: Final = 100


@dataclass(frozen=True, slots=True)
class StudyRequest:
    """``read`` reads the study; ``sorted_by`` gives it anew, ranked by another statistic of
    ``sorts`` (names and words), of which ``sort`` is the present one.  ``page``: a command line
    that writes it as a page, without the page's name.  ``where``: what is read, for the title.
    """

    read: Read
    sorted_by: Callable[[Study, str], Study]
    sorts: Sequence[tuple[str, str]]
    sort: str
    where: str
    page: tuple[str, ...] = ()
    page_file: Path = Path("study.html")
    view: StudyView = ALL
    beside: Beside = ALONE


def replay_beside(path: str) -> bool:
    """Open a session in a window of its own, which outlives this one; whether it could be."""
    started = QProcess.startDetached(sys.executable, ["-P", "-m", "live", "replay", path])
    return bool(started[0] if isinstance(started, tuple) else started)


class StudyWindow(QMainWindow):
    """Reads the study first, and shows how far it is.  ``open_session``: given a capture's path;
    ``show``: shows a page that was written.
    """

    def __init__(
        self,
        request: StudyRequest,
        theme: Theme = LIGHT,
        *,
        open_session: Callable[[str], bool] = replay_beside,
        show: Callable[[QUrl], object] = QDesktopServices.openUrl,
    ) -> None:
        super().__init__()
        self.faults = DrawingFaults()
        self.appearance = Appearance(theme)
        self.request = request
        self.study: Study | None = None
        self.problem = ""
        self.dialog: QDialog | None = None
        self.program = Program(self)
        self.program.ended.connect(self._page_ended)
        self._open_session, self._show = open_session, show
        self.setWindowTitle("Study – Sidebeat")
        self._build()
        self.reading = Reading(request.read)
        self._timer = QTimer(self)
        self._timer.setInterval(_POLL_MS)
        self._timer.timeout.connect(self.frame)
        self._timer.start()
        self.apply_theme()

    # What it is made of

    def _build(self) -> None:
        self.activity_choice = self._choice("Activity")
        self.activity_choice.currentIndexChanged.connect(self._show_activity)
        self.sort_choice = self._choice("Order and points by")
        for name, words in self.request.sorts:
            self.sort_choice.addItem(words, name)
        self.sort_choice.setCurrentIndex(max(self.sort_choice.findData(self.request.sort), 0))
        self.sort_choice.activated.connect(self._sort)
        row = QWidget()
        flow = FlowLayout(row)
        flow.setContentsMargins(0, 0, 0, 0)
        for words, choice in (("activity", self.activity_choice), ("ordered by", self.sort_choice)):
            flow.addWidget(Label(words))
            flow.addWidget(choice)
        self.buttons: dict[Ask, QToolButton] = {}
        self.shortcuts: dict[Ask, QShortcut] = {}
        for key in ASK_KEYS:
            for sequence in key.keys:
                shortcut = QShortcut(QKeySequence(sequence), self)
                shortcut.activated.connect(partial(self.do, key.action))
                self.shortcuts.setdefault(key.action, shortcut)
            if key.button:
                button = tool_button(key, self.do)
                flow.addWidget(button)
                self.buttons[key.action] = button
        self.buttons[Ask.ZOOM].setCheckable(True)
        self.pictures = Pictures(self.faults, self.request.view, self.request.beside)
        self.pictures.opened.connect(self.open_session)
        self.pictures.pointed.connect(self._point)
        self.waiting = self._waiting_page()
        self.pages = QStackedWidget()
        self.pages.addWidget(self.waiting)
        self.pages.addWidget(self._scrolled(self.pictures))
        self.told = ElidedLabel()
        self.told.setAccessibleName("What is pointed at, or the last answer")
        self._answer = ""
        inside = QWidget()
        layout = QVBoxLayout(inside)
        layout.setContentsMargins(8, 6, 8, 6)
        layout.setSpacing(4)
        self._row = row
        row.hide()
        layout.addWidget(row)
        layout.addWidget(self.pages, 1)
        layout.addWidget(self.told)
        self.setCentralWidget(inside)
        self.resize(1280, 720)

    def _choice(self, name: str) -> QComboBox:
        choice = QComboBox()
        choice.setAccessibleName(name)
        choice.setToolTip(tip(name))
        name_parts(choice)
        return choice

    def _waiting_page(self) -> QWidget:
        page = QWidget()
        column = QVBoxLayout(page)
        self.state = Label(f"Reading the captures of {self.request.where} …")
        self.state.setWordWrap(True)
        self.state.setAccessibleName("State")
        self.bar = QProgressBar()
        self.bar.setAccessibleName("Sessions read")
        self.bar.setRange(0, 0)
        column.addStretch(1)
        column.addWidget(self.state)
        column.addWidget(self.bar)
        column.addStretch(2)
        return page

    @staticmethod
    def _scrolled(page: QWidget) -> QScrollArea:
        """Large text on a small screen may need more room than there is."""
        area = QScrollArea()
        area.setWidget(page)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setAccessibleName("The study")
        return area

    # Reading

    def frame(self) -> None:
        """Show how far the reading is, and the study once it is there."""
        if self.study is not None or self.problem:
            self._timer.stop()
            return
        reading = self.reading
        if not reading.is_over:
            self.bar.setRange(0, reading.total)
            self.bar.setValue(reading.done)
            left = reading.left_s()
            rest = "" if left is None else f", about {duration(max(left, 1.0))} left"
            count = f": {reading.done} of {reading.total}{rest}" if reading.total else " …"
            self.state.setText(f"Reading the captures of {self.request.where}{count}")
        elif reading.study is None or not reading.study.activities:
            self.problem = reading.problem or self._nothing(reading.study)
            self.bar.hide()
            self.state.setText(self.problem)
        else:
            self.show_study(reading.study)

    def _nothing(self, study: Study | None) -> str:
        """Why there is a study without any session that counts."""
        said = [f"{self.request.where}: no session counts."]
        if study is not None:
            said += [one.reason for one in study.left_out[:8]]
            said += [f"{one.path}: {one.reason}" for one in study.apart[:8]]
        return "\n".join(said)

    def settle(self) -> None:
        """Wait until the study is read and shown; for tests and pictures."""
        self.reading.settle()
        self.frame()

    def show_study(self, study: Study) -> None:
        """Show what was read."""
        self.study = study
        self._row.show()
        name = self.activity_choice.currentText()
        self.activity_choice.blockSignals(True)
        self.activity_choice.clear()
        for one in study.activities:
            self.activity_choice.addItem(f"{one.name} ({len(one.sessions)})")
        self.activity_choice.setCurrentIndex(max(self.activity_choice.findText(name), 0))
        self.activity_choice.blockSignals(False)
        self.pictures.tabs[Tab.APART].setText(f"{Tab.APART} ({count_not_counted(study)})")
        self.pages.setCurrentIndex(1)
        self._show_activity()
        self.pictures.plot.setFocus()

    # What the user does

    def do(self, ask: Ask) -> None:
        """Carry out one thing, from a key or a button."""
        if ask in TABS:
            self.pictures.turn_to(TABS[ask])
            return
        match ask:
            case Ask.ZOOM:
                self.pictures.zoom()
            case Ask.NEXT_SENSOR | Ask.LAST_SENSOR:
                self.pictures.step(1 if ask is Ask.NEXT_SENSOR else -1)
            case Ask.NEXT_ACTIVITY | Ask.LAST_ACTIVITY:
                self._step_activity(1 if ask is Ask.NEXT_ACTIVITY else -1)
            case Ask.PAGE:
                self._write_page()
            case Ask.THEME:
                self.appearance.turn()
                self.apply_theme()
            case Ask.LARGER | Ask.SMALLER | Ask.SIZE:
                self.appearance.resize({Ask.LARGER: 1, Ask.SMALLER: -1}.get(ask, 0))
                self.apply_theme()
            case Ask.HELP:
                self.dialog = study_help(self)
                self.dialog.open()
            case Ask.CLOSE:
                self.close()
        self._tend_buttons()

    @property
    def activity(self) -> Activity | None:
        """The one that is shown."""
        if self.study is None or not self.study.activities:
            return None
        return self.study.activities[max(self.activity_choice.currentIndex(), 0)]

    def _show_activity(self) -> None:
        if self.study is not None and self.activity is not None:
            self.pictures.show_activity(self.study, self.activity)
            self._tend_buttons()

    def _step_activity(self, step: int) -> None:
        count = self.activity_choice.count()
        if count:
            self.activity_choice.setCurrentIndex(
                (self.activity_choice.currentIndex() + step) % count
            )

    def _tend_buttons(self) -> None:
        zoom, activity = self.buttons[Ask.ZOOM], self.activity
        zoom.setChecked(self.pictures.zoomed)
        zoom.setEnabled(
            activity is not None
            and self.pictures.tab is Tab.RANKING
            and (self.pictures.zoomed or is_worth_a_zoom(activity))
        )
        self.buttons[Ask.PAGE].setEnabled(bool(self.request.page) and not self.program.is_busy)

    def _sort(self) -> None:
        if self.study is not None:
            self.show_study(self.request.sorted_by(self.study, self.sort_choice.currentData()))

    def open_session(self, session: SessionRow) -> None:
        """Replay a session in a window beside this one."""
        path = Path(session.path)
        if not path.exists():
            self._say(f"{path}: the file is not there any more")
        elif self._open_session(session.path):
            self._say(f"replaying {path.name} in a window of its own")
        else:
            self._say(f"{path}: the replay could not be started")

    def _say(self, answer: str) -> None:
        self._answer = answer
        self.told.setText(answer)

    def _point(self, said: str) -> None:
        """What a session says in the line of the answers, for mouse and keyboard alike."""
        self.told.setText(said.replace("\n", " · ") or self._answer)

    def _write_page(self) -> None:
        arguments = [*self.request.page, "--sort", self.sort_choice.currentData()]
        if self.program.run([*arguments, "--out", str(self.request.page_file)]):
            self._say("writing the page …")

    def _page_ended(self, status: int, told: str) -> None:
        page = self.request.page_file
        self._say(told if status else f"written: {page}")
        if not status:
            self._show(QUrl.fromLocalFile(str(page.absolute())))
        self._tend_buttons()

    # Looks

    @property
    def theme(self) -> Theme:
        """The theme in use."""
        return self.appearance.theme

    def recall(self, remembered: PreferenceStore) -> None:
        """Use what the user chose in an earlier run, and keep what is chosen from now on."""
        self.appearance.recall(remembered)
        self.apply_theme()

    def apply_theme(self) -> None:
        """Apply the chosen theme, with text of the chosen size."""
        theme = self.theme
        font = self.appearance.apply(
            self,
            f"""
            QPlainTextEdit {{ border: 1px solid {theme.rule}; background: {theme.ground}; }}
            QPlainTextEdit:focus {{ border: 2px solid {theme.focus}; }}
            QLabel#name {{ font-weight: bold; }}
            QLabel#claim {{ color: {theme.ink}; }}
            """,
        )
        self.pictures.apply_theme(theme, font)

    def closeEvent(self, event: QCloseEvent) -> None:
        """End what is still being read or written; what was read is kept."""
        self._timer.stop()
        self.reading.stop()
        self.program.close()
        event.accept()
