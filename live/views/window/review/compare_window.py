"""Two captures of one session, one above the other on one axis of time, to look at."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QKeySequence, QResizeEvent, QShortcut, QShowEvent
from PySide6.QtWidgets import (
    QFrame,
    QMainWindow,
    QScrollArea,
    QSplitter,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from analysis.session.compare import Comparison, Side, read_comparison
from live.views.window.parts.appearance import Appearance
from live.views.window.parts.application import interruptible, open_application, system_theme
from live.views.window.parts.chart import Chart
from live.views.window.parts.dialogs import native
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action, every_key
from live.views.window.parts.mouse import MouseGestures
from live.views.window.parts.overlay import Overlays, OverlayState
from live.views.window.parts.plain_text import Label, set_window_title, tip
from live.views.window.parts.preferences import PreferenceStore, preferences_path
from live.views.window.parts.readout import Readout
from live.views.window.parts.span import Follow, TimeSpan
from live.views.window.parts.theme import LIGHT, Theme, sensor_styles
from live.views.window.parts.timeline import Timeline

_BUTTONS: Final = {
    Action.ALL: "all",
    Action.EARLIER: "earlier",
    Action.LATER: "later",
    Action.CLOSER: "closer",
    Action.WIDER: "wider",
    Action.READOUT: "values",
    Action.THEME: "light/dark",
    Action.CLOSE: "close",
}
_KEYS_ONLY: Final = (
    Action.READ_EARLIER,
    Action.READ_LATER,
    Action.LARGER,
    Action.SMALLER,
    Action.SIZE,
)


class _CapturePanels(QWidget):
    """One capture: its name, and its panels."""

    def __init__(self, side: Side, faults: DrawingFaults, place: str) -> None:
        super().__init__()
        self.side = side
        self.plan = side.board.plan
        self.styles = sensor_styles(self.plan)
        self.timeline = Timeline(self.plan)
        self.timeline.catch_up(side.board)
        mark = "INVENTED DATA · " if self.plan.invented else ""
        self.title = Label(
            f"{mark}{place} · {side.name} · {self.plan.wearer} · {self.plan.activity}"
        )
        self.title.setAccessibleName(f"Capture {place}: {side.name}")
        self.chart = Chart(self.plan, faults)
        self.chart.least_lines = 11.0  # so that both are seen at once on a small screen
        for part in (self.chart, self.chart.viewport()):
            part.setAccessibleName(f"Heart rate, difference and warnings of {side.name}")
        self.seen = OverlayState()
        self.mouse = MouseGestures(self.chart)
        self.overlays = Overlays(self.chart, faults, self.seen)
        self.values = Label()
        self.values.setAccessibleName(f"Values of {side.name} at one time")
        self.values.hide()
        self.readout = Readout(self.seen, lambda: side.board, self._say)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(2)
        layout.addWidget(self.title)
        layout.addWidget(self.chart, 1)
        layout.addWidget(self.values)

    def _say(self, words: str) -> None:
        self.values.setText(words)
        self.values.setVisible(bool(words))

    def show_stretch(self, start_s: float, end_s: float, theme: Theme) -> None:
        """Draw a stretch of the common time."""
        frame = Frame(
            plan=self.plan,
            snapshot=self.side.board.snapshot(),
            board=self.side.board,
            timeline=self.timeline,
            styles=self.styles,
            theme=theme,
            start_s=start_s,
            end_s=end_s,
            now_s=self.side.to_s,
            selected=0,
            later=self.side.warnings,
        )
        self.chart.show_frame(frame)
        self.overlays.show_frame(frame, self.chart.traces)


class CompareWindow(QMainWindow):
    """Shows both; nothing can be changed here."""

    def __init__(self, comparison: Comparison, theme: Theme = LIGHT) -> None:
        super().__init__()
        self.faults = DrawingFaults()
        self.appearance = Appearance(theme)
        self._end_s = max(side.to_s for side in comparison.sides)
        self.span = TimeSpan(Follow.ALL)
        self.halves = [
            _CapturePanels(side, self.faults, place)
            for side, place in zip(comparison.sides, ("A", "B"), strict=True)
        ]
        set_window_title(self, " | ".join(side.name for side in comparison.sides) + " – Sidebeat")
        self.words = Label(f"{comparison.words()} Times are counted from when the first began.")
        self.words.setWordWrap(True)
        self.words.setAccessibleName("How the two are aligned")
        row = QWidget()
        flow = FlowLayout(row)
        flow.setContentsMargins(0, 0, 0, 0)
        self.buttons: dict[Action, QToolButton] = {}
        for key in every_key():
            if key.action not in _BUTTONS and key.action not in _KEYS_ONLY:
                continue
            for sequence in key.keys:
                QShortcut(QKeySequence(sequence), self).activated.connect(
                    partial(self.do, key.action)
                )
            if key.action in _BUTTONS:
                button = QToolButton()
                button.setText(_BUTTONS[key.action])
                button.setToolTip(tip(f"{key.words} ({native(key.keys)})"))
                button.setAccessibleName(key.words)
                button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
                button.clicked.connect(lambda _=False, action=key.action: self.do(action))
                self.buttons[key.action] = button
        for action in _BUTTONS:
            flow.addWidget(self.buttons[action])
        splitter = QSplitter(Qt.Orientation.Vertical)
        splitter.setChildrenCollapsible(False)
        for half in self.halves:
            splitter.addWidget(half)
            half.chart.moved.connect(self._moved)
            half.mouse.pointed.connect(self._point)
        inside = QWidget()
        layout = QVBoxLayout(inside)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.setSpacing(4)
        layout.addWidget(row)
        layout.addWidget(self.words)
        layout.addWidget(splitter, 1)
        area = QScrollArea()  # two captures of many sensors may be higher than a small screen
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setAccessibleName("Both captures")
        self.setCentralWidget(area)
        self.resize(1280, 720)
        self.apply_theme()

    def do(self, action: Action) -> None:
        """Carry out one action, from a key or a button."""
        match action:
            case Action.ALL:
                self.span.set_follow(Follow.ALL)
            case Action.EARLIER | Action.LATER:
                self.span.pan(-0.25 if action is Action.EARLIER else 0.25, self._end_s)
            case Action.CLOSER | Action.WIDER:
                self.span.zoom(1 / 1.5 if action is Action.CLOSER else 1.5, self._end_s)
            case Action.READOUT | Action.READ_EARLIER | Action.READ_LATER:
                self._read(action)
            case Action.THEME:
                self.appearance.turn()
                self.apply_theme()
            case Action.LARGER | Action.SMALLER | Action.SIZE:
                self.appearance.resize({Action.LARGER: 1, Action.SMALLER: -1}.get(action, 0))
                self.apply_theme()
            case Action.CLOSE:
                self.close()
        self.draw()

    def _read(self, action: Action) -> None:
        start, end = self.span.at(self._end_s)
        middle = round((start + min(end, self._end_s)) / 2)
        for half in self.halves:
            if action is Action.READOUT:
                half.readout.toggle(middle)
            else:
                half.readout.step(1 if action is Action.READ_LATER else -1, middle)

    def _moved(self, start_s: float, end_s: float) -> None:
        self.span.set_free(start_s, end_s)
        self.draw()

    def _point(self, second: float) -> None:
        for half in self.halves:
            half.readout.point(second)
        self.draw()

    def draw(self) -> None:
        """Draw both with the stretch that is looked at."""
        self.span.room = max(half.chart.label_room for half in self.halves)
        start, end = self.span.at(self._end_s)
        for half in self.halves:
            with self.faults.guard("panels of a capture"):
                half.show_stretch(start, end, self.theme)

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
        theme, font = self.theme, self.appearance.apply(self)
        for half in self.halves:
            half.chart.apply_theme(theme, font)
        self.draw()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The labels need another share of the width now, once the panels have theirs."""
        super().resizeEvent(event)
        QTimer.singleShot(0, self.draw)

    def showEvent(self, event: QShowEvent) -> None:
        """The panels get their size now."""
        super().showEvent(event)
        QTimer.singleShot(0, self.draw)


def run_compare_window(one: Path, two: Path) -> int:
    """Show two captures until the window is closed; returns the exit status.

    Raises as :func:`~analysis.session.compare.read_comparison` does, and
    :class:`~live.views.window.parts.application.WindowMissing`.
    """
    application = open_application()
    window = CompareWindow(read_comparison(one, two), system_theme(application))
    window.recall(PreferenceStore(preferences_path()))
    window.showMaximized()
    with interruptible(application), window.faults.hook():
        return application.exec()
