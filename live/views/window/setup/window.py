"""The set-up window: plan, checks, start; it goes on as the live window of the capture."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final, Protocol

from PySide6.QtCore import QTimer, Signal
from PySide6.QtGui import QCloseEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QFileDialog,
    QMainWindow,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from live.protocol.capture_feed import CaptureFeed
from live.setup.agreed_commands import is_agreed
from live.setup.folder import FolderWatch
from live.setup.known_sensors import (
    KnownSensors,
    KnownSensorsError,
    known_sensors_path,
    load_known_sensors,
    save_known_sensors,
)
from live.setup.rehearsal import Rehearsal
from live.setup.subprocesses import LineSubprocess, listening_subprocess
from live.views.window.live.workbench import Cautions
from live.views.window.parts.appearance import Appearance
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.key_buttons import tool_button
from live.views.window.parts.key_help import KeyHelp
from live.views.window.parts.plain_text import MarkupLabel
from live.views.window.parts.preferences import PreferenceStore
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.setup.check_page import CheckPage
from live.views.window.setup.folder_reader import FolderReader
from live.views.window.setup.help import setup_help
from live.views.window.setup.keys import STEP_KEYS, Step
from live.views.window.setup.parts import Footer, sentence, setup_style
from live.views.window.setup.plan_page import PlanPage
from replay.broker import Broker, broker_table
from replay.errors import PlanError, SidebeatError
from replay.plan import Plan, format_plan, load_plan

FRAME_MS: Final = 200


class StartRehearsal(Protocol):
    """Makes a rehearsal; tests give their own."""

    def __call__(self, plan: Plan, out: Path | None, minutes: float | None) -> Rehearsal:
        """Start it."""


class SetupWindow(QMainWindow):
    """Sets up one session.  ``recording``: it has begun; the feed belongs to the receiver.

    ``out``: folder proposed for the capture, ``None`` for practice.  ``on_warning``: command for
    each warning, in place of the plan's.  ``listen`` and ``rehearse``
    start the helper processes.
    """

    recording = Signal(object)

    def __init__(
        self,
        out: Path | None,
        *,
        minutes: float | None = None,
        on_warning: tuple[str, ...] = (),
        theme: Theme = LIGHT,
        listen: Callable[[], LineSubprocess] = listening_subprocess,
        rehearse: StartRehearsal = Rehearsal,
    ) -> None:
        super().__init__()
        self.appearance = Appearance(theme)
        self.dialog: KeyHelp | None = None
        self.rehearsal: Rehearsal | None = None
        self._minutes = minutes
        self._on_warning = on_warning
        self._listen = listen
        self._rehearse = rehearse
        self._child: LineSubprocess | None = None
        self._ours: list[str] = []
        self._nodes_at: Broker | None = None
        self._waiting: Plan | None = None
        self._waits_for: LineSubprocess | None = None
        self._waits_since_s = 0.0
        self._known_path = known_sensors_path()
        note = ""
        try:
            known = load_known_sensors(self._known_path)
            self._remembers = True
        except KnownSensorsError as error:
            known, note, self._remembers = KnownSensors(), str(error), False
        self._known = known
        self.plan_page = PlanPage(known, out)
        self.check_page = CheckPage()
        self.watch = FolderWatch(out)
        self.folder = FolderReader(self.plan_page)
        self._build()
        self._bind_keys()
        self.apply_theme()
        self.note.setText(note)
        self.note.setVisible(bool(note))
        self._update()
        self._timer = QTimer(self)
        self._timer.setInterval(FRAME_MS)
        self._timer.timeout.connect(self.frame)

    def _build(self) -> None:
        self.setWindowTitle("New session – Sidebeat")
        self.buttons: dict[Step, QToolButton] = {}
        top = QWidget()
        flow = FlowLayout(top, gap=6)
        flow.setContentsMargins(0, 0, 0, 0)
        self.steps = MarkupLabel()
        flow.addWidget(self.steps)
        for key in STEP_KEYS:
            if not key.button:
                continue
            button = tool_button(key, self.do)
            flow.addWidget(button)
            self.buttons[key.action] = button
        self.cautions = Cautions()
        self.note = sentence(kind="alarm")
        self.pages = QStackedWidget()
        self.pages.addWidget(self.plan_page)
        self.pages.addWidget(self.check_page)
        self.plan_page.changed.connect(self._update)
        self.check_page.again.connect(self._again)
        self.footer = Footer(self.do)
        inside = QWidget()
        layout = QVBoxLayout(inside)
        layout.setContentsMargins(8, 8, 8, 8)
        layout.setSpacing(8)
        for part in (top, self.cautions, self.note):
            layout.addWidget(part)
        layout.addWidget(self.pages, 1)
        layout.addWidget(self.footer)
        self.setCentralWidget(inside)
        self.resize(1280, 720)

    def _bind_keys(self) -> None:
        self.shortcuts: dict[Step, list[QShortcut]] = {}
        for key in STEP_KEYS:
            for sequence in key.keys:
                shortcut = QShortcut(QKeySequence(sequence), self)
                shortcut.activated.connect(lambda step=key.action: self.do(step))
                self.shortcuts.setdefault(key.action, []).append(shortcut)

    def start(self) -> None:
        """Listen for sensors from now on."""
        self._child = self._listen()
        self._ours = []
        self._nodes_at = None
        self.plan_page.list.setFocus()
        self._timer.start()

    # What comes

    def _ask_ours(self) -> None:
        """Tell the listening process whom it may link to for details: the ticked sensors."""
        sensors = self.plan_page.builder.sensors
        ours = sorted(s.address for s in sensors if s.address and s.source == "bluetooth")
        if self._child is not None and ours != self._ours:
            self._ours = ours
            self._child.say({"ask": ours})
        broker = self.plan_page.nodes_at
        if self._child is not None and broker != self._nodes_at:
            self._nodes_at = broker
            told = None if broker is None else broker_table(broker)
            self._child.say({"broker": told})

    def frame(self) -> None:
        """Take what came, and show it; called by the timer, and by hand in tests."""
        lines = self._child.poll() if self._child is not None else []
        if self.pages.currentWidget() is self.plan_page:
            self.plan_page.hear(lines)
        self._ask_ours()
        self.watch.folder = self.plan_page.form.out
        self.watch.poll()
        self.folder.poll()
        if self._waiting is not None:
            self._start_when_free(self._waiting)
        if self.rehearsal is not None:
            self._follow(self.rehearsal)

    def _follow(self, rehearsal: Rehearsal) -> None:
        rehearsal.poll()
        if rehearsal.recording is not None:
            self._begun(rehearsal, rehearsal.recording)
            return
        self.check_page.say(rehearsal.problem or rehearsal.refusal)
        self.check_page.show_checks(rehearsal.results(self.watch.facts))
        self._update()

    # What the user does

    def do(self, step: Step) -> None:  # noqa: C901 - one flat case per step
        """Carry out one step, from a key or a button."""
        page = self.plan_page
        on_plan = self.pages.currentWidget() is page
        match step:
            case Step.FORWARD:
                self._forward()
            case Step.BACK:
                if not on_plan:
                    self._go_back()
            case Step.DISCOVERED if on_plan:
                page.list.setFocus()
            case Step.SELECTED if on_plan and page.selected.editors:
                page.selected.editors[page.chosen].label.setFocus()
            case Step.BODY_MAP if on_plan and page.builder.sensors:
                here = page.builder.sensors[page.chosen].placement
                page.body_map.buttons.get(here, page.body_map.buttons["chest"]).setFocus()
                page.ensureWidgetVisible(page.body_map)
            case Step.SESSION if on_plan:
                page.form.wearer.setFocus()
            case Step.OPEN:
                self._open()
            case Step.SAVE:
                self._save()
            case Step.THEME:
                self.appearance.turn()
                self.apply_theme()
            case Step.LARGER | Step.SMALLER | Step.SIZE:
                self.appearance.resize({Step.LARGER: 1, Step.SMALLER: -1}.get(step, 0))
                self.apply_theme()
            case Step.HELP:
                self.dialog = setup_help(self)
                self.dialog.open()
            case Step.CLOSE:
                self.close()

    def _forward(self) -> None:
        if not self.footer.forward.isEnabled():
            return
        if self.pages.currentWidget() is self.check_page:
            if self.rehearsal is not None:
                self.rehearsal.record()
            self._update()
            return
        plan = self.plan_page.builder.plan()
        if self._on_warning:
            plan = replace(plan, attention=replace(plan.attention, command=self._on_warning))
        self._waiting = plan
        self._waits_since_s = time.monotonic()
        if self._child is not None:
            self._child.let_go()
            self._waits_for, self._child = self._child, None
        self.check_page.begin(plan)
        self.pages.setCurrentWidget(self.check_page)
        self._update()
        self.footer.back.setFocus()
        self._update()

    def _start_when_free(self, plan: Plan) -> None:
        """Rehearse as soon as the listening process has let go of the radio."""
        child = self._waits_for
        patient = time.monotonic() - self._waits_since_s < 10
        if child is not None and child.status is None and patient:
            child.poll()
            return
        self._waiting = self._waits_for = None
        try:
            self.rehearsal = self._rehearse(plan, self.plan_page.form.out, self._minutes)
        except OSError as error:
            self.check_page.say(f"the capture process cannot be started: {error}")

    def _go_back(self) -> None:
        if self.rehearsal is not None:
            if self.rehearsal.is_beginning:
                return
            self.rehearsal.stop()
            self.rehearsal = None
        self._waiting = None
        if self._child is None:
            self._child = self._listen()
            self._ours = []
            self._nodes_at = None
        self.pages.setCurrentWidget(self.plan_page)
        self.plan_page.list.setFocus()
        self._update()

    def _again(self, sensor: int) -> None:
        if self.rehearsal is not None:
            self.rehearsal.connect(sensor)

    def _open(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "Open a plan", "", "Plans (*.toml)")
        if name:
            self.open_plan(Path(name))

    def open_plan(self, path: Path) -> None:
        """Go on from a plan file; what is wrong with it is said on the page."""
        try:
            plan = load_plan(path)
        except PlanError as error:
            self._say(str(error))
            return
        command = plan.attention.command
        self._say("")
        if command and not is_agreed(command):
            plan = replace(plan, attention=replace(plan.attention, command=()))
            self._say(
                "The plan's command for warnings is not taken over, because nobody here has agreed "
                "to it: 'sidebeat live --plan' asks in a terminal."
            )
        if self.pages.currentWidget() is self.check_page:
            self._go_back()
        self.plan_page.show_plan(plan)

    def _save(self) -> None:
        problems = self.plan_page.builder.problems()
        if problems:
            self._say(f"This is not a plan yet. {problems[0]}")
            return
        name, _ = QFileDialog.getSaveFileName(self, "Save the plan", "plan.toml", "Plans (*.toml)")
        if name:
            self.save_plan(Path(name))

    def save_plan(self, path: Path) -> None:
        """Write the plan as it stands; what goes wrong is said on the page."""
        try:
            path.write_text(format_plan(self.plan_page.builder.plan()), encoding="utf-8")
        except (OSError, SidebeatError) as error:
            self._say(f"{path} could not be written: {error}")
        else:
            self._say("")

    def _say(self, text: str) -> None:
        self.note.setText(text)
        self.note.setVisible(bool(text))

    def _update(self) -> None:
        """Buttons and the sentence beside them, by what is still missing."""
        show = self.footer.show_state
        if self.pages.currentWidget() is self.plan_page:
            problems = self.plan_page.builder.problems()
            self._show_steps(1)
            more = f"  ({len(problems) - 1} more)" if len(problems) > 1 else ""
            doubts = [] if problems else self.plan_page.builder.doubts()
            todo = f"{problems[0]}{more}" if problems else " ".join(doubts)
            words = "Yes: check the sensors" if doubts else "Check the sensors"
            todo = todo or "The plan is complete."
            show(todo, words, enabled=not problems, back=False, ready=not doubts)
            return
        rehearsal = self.rehearsal
        if rehearsal is not None and rehearsal.is_beginning:
            self._show_steps(3)
            show("The file is being made.", "Recording begins …", enabled=False)
            return
        self._show_steps(2)
        missing = self.check_page.not_ready
        heard = rehearsal is not None and rehearsal.is_heard
        ready = heard and bool(self.check_page.checks) and not missing
        start = f"Start {'practice' if self.plan_page.form.out is None else 'recording'}"
        todo = "Starting the rehearsal …"
        if heard:
            but = "; ".join(self.check_page.cautions)
            all_is = f"Ready, but look at: {but}." if but else "All is ready."
            todo = all_is if ready else f"Not ready: {'; '.join(missing)}."
        words = start if ready else f"{start} all the same"
        show(todo, words, enabled=heard, ready=ready)

    def _show_steps(self, now: int) -> None:
        names = ("1 plan", "2 checks", "3 recording")
        marked = (f"<b>{name}</b>" if n == now else name for n, name in enumerate(names, 1))
        text = f"<b>New session</b> &nbsp; {' › '.join(marked)} &nbsp;"
        if self.steps.text() != text:
            self.steps.setText(text)
            self.steps.setAccessibleName(f"New session, step {names[now - 1]}")

    @property
    def theme(self) -> Theme:
        """The theme in use."""
        return self.appearance.theme

    def recall(self, remembered: PreferenceStore) -> None:
        """Wear what the user chose in an earlier run, and keep what is chosen from now on."""
        self.appearance.recall(remembered)
        if (usual := remembered.chosen.tolerance) is not None:
            self.plan_page.propose_tolerance(*usual)
        self.apply_theme()

    def apply_theme(self) -> None:
        """Apply the chosen theme, with text of the chosen size."""
        theme = self.theme
        self.appearance.apply(self, setup_style(theme))
        self.cautions.apply_theme(theme)
        self.plan_page.apply_theme(theme)
        self.check_page.apply_theme(theme)

    # The start, and leaving

    def _begun(self, rehearsal: Rehearsal, feed: CaptureFeed) -> None:
        """The recording runs: remember its sensors, keep its plan beside it, hand it over."""
        self._timer.stop()
        rehearsal.stop()
        out = self.plan_page.form.out
        if out is not None:
            try:
                beside = (out / feed.title).with_suffix(".toml")
                beside.write_text(format_plan(rehearsal.plan), encoding="utf-8")
            except OSError:
                pass  # the capture holds the plan itself
        self.remember(rehearsal.plan)
        self.recording.emit(feed)

    def remember(self, plan: Plan) -> None:
        """Keep the sensors and the facts of a plan for the next session."""
        if not self._remembers:
            return
        names = self.plan_page.discovered.names(sensor.address for sensor in plan.sensors)
        known = self._known.with_session(plan.sensors, names, self.plan_page.last_session())
        try:
            save_known_sensors(self._known_path, known)
        except KnownSensorsError as error:
            print(f"sidebeat: {error}")

    @property
    def is_listening(self) -> bool:
        """Whether sensors nearby are listened for."""
        return self._child is not None

    def leave(self) -> None:
        """Let go of the helpers; a recording that has begun goes on."""
        self._timer.stop()
        if self._child is not None:
            self._child.let_go()
            self._child = None
        if self.rehearsal is not None:
            self.rehearsal.stop()

    def closeEvent(self, event: QCloseEvent) -> None:
        """Nothing is lost by closing here: what is recorded has a window of its own."""
        self.leave()
        event.accept()
