"""The window: its parts, its keys, and the frame timer that keeps them up to date."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

from PySide6.QtCore import QTimer
from PySide6.QtGui import QCloseEvent, QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QMainWindow,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from analysis.board import Board
from live.notify.notifier import Notifier
from live.protocol.feed import Feed
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from live.views.window.live.alarm_banner import AlarmBanner
from live.views.window.live.commands import Commands, pause_or_play
from live.views.window.live.far_view import FarView
from live.views.window.live.header import FOLLOWED, Header
from live.views.window.live.reviewing import Review
from live.views.window.live.status import StatusLine, fault_words
from live.views.window.live.workbench import Cautions, ScrolledWorkbench, Workbench
from live.views.window.parts.appearance import Appearance
from live.views.window.parts.dialogs import HelpPage, LeaveDialog, Leaving
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action, every_key
from live.views.window.parts.mouse import MouseGestures
from live.views.window.parts.overlay import Overlays, Seen
from live.views.window.parts.plain_text import set_window_title
from live.views.window.parts.preferences import Remembered
from live.views.window.parts.readout import Readout
from live.views.window.parts.span import TimeSpan
from live.views.window.parts.theme import LIGHT, Theme, looks_of
from live.views.window.parts.timeline import Timeline
from replay.plan import Plan

FRAME_MS: Final = 110
"""About nine pictures a second; sensors send one reading a second, a capture ticks four times."""

TRAVEL_S: Final = 0.06
"""Time of one frame that goes into bringing a replay to where its cursor was put."""


ReviewOf = Callable[["MainWindow", FileFeed], Review]
"""Builds the review of a window on a file, once the window's own parts are there."""


class MainWindow(QMainWindow):
    """Shows one feed.  ``frame`` is called by the timer, and by hand in tests and benchmarks."""

    def __init__(
        self, feed: Feed, theme: Theme = LIGHT, *, review_of: ReviewOf | None = None
    ) -> None:
        super().__init__()
        self.model = ViewModel(feed)
        self.plan = feed.plan
        self.faults = DrawingFaults()
        self.appearance = Appearance(theme)
        self.span = TimeSpan()
        self.commands = Commands(self.model)
        self.notifier: Notifier | None = None  # set by who opens the window
        self.selected = self.plan.tests[0] if self.plan.tests else 0
        self.looks = looks_of(self.plan)
        self.timeline = Timeline(self.plan)
        self.seen = Seen()
        self._generation = self.model.generation
        self._stale = True
        self._over = self._leaving = False
        self._free_to_close = not feed.is_live
        self.dialog: LeaveDialog | HelpPage | None = None
        self._build(feed, review_of)
        self._bind_keys()
        self.apply_theme()
        self._timer = QTimer(self)
        self._timer.setInterval(FRAME_MS)
        self._timer.timeout.connect(self.frame)

    def _build(self, feed: Feed, review_of: ReviewOf | None) -> None:
        set_window_title(self, f"{feed.title} – Sidebeat")
        self.header = Header(self.plan, self.do, is_live=feed.is_live)
        self.cautions = Cautions()
        self.alarm = AlarmBanner(self.faults)
        self.alarm.known.connect(lambda: self.do(Action.ACKNOWLEDGE))
        self.workbench = Workbench(self.plan, self.looks, self.faults)
        self.far = FarView(self.faults)
        self.pages = QStackedWidget()
        self.workbench_page = ScrolledWorkbench(self.workbench)
        self.pages.addWidget(self.workbench_page)
        self.pages.addWidget(self.far)
        inside = QWidget()
        layout = QVBoxLayout(inside)
        layout.setContentsMargins(6, 6, 6, 0)
        layout.setSpacing(6)
        layout.addWidget(self.alarm)
        layout.addWidget(self.header)
        layout.addWidget(self.cautions)
        layout.addWidget(self.pages, 1)
        self.mouse = MouseGestures(self.workbench.chart)
        self.overlays = Overlays(self.workbench.chart, self.faults, self.seen)
        self.review: Review | None = None
        if review_of is not None and isinstance(feed, FileFeed):
            self.review = review_of(self, feed)
            layout.addWidget(self.review.bar)
            if not self.review.why_read_only:
                self.header.allow_markers("note at cursor")
                self.header.marker.now = self.review.position_ns
        self.setCentralWidget(inside)
        self.status_line = StatusLine(
            feed.title, self.header.notice, is_live=feed.is_live, invented=self.plan.invented
        )
        self.setStatusBar(self.status_line)
        self.header.marker.written.connect(self._set_marker)
        self.readout = Readout(self.seen, self._board_in_picture, self.header.say)
        self.readout.changed.connect(self.redraw)
        self.mouse.pointed.connect(self.readout.point)
        self.workbench.chart.moved.connect(self._moved)
        self.workbench.warnings.wanted.connect(self.look_at)
        self.workbench.cards.chosen.connect(self.select)
        self.resize(1280, 720)

    def _bind_keys(self) -> None:
        self.shortcuts: dict[Action, list[QShortcut]] = {}
        for key in every_key():
            for sequence in key.keys:
                shortcut = QShortcut(QKeySequence(sequence), self)
                shortcut.activated.connect(lambda action=key.action: self.do(action))
                self.shortcuts.setdefault(key.action, []).append(shortcut)

    def start(self) -> None:
        """Draw from now on."""
        self.workbench.chart.setFocus()
        self._timer.start()

    # Pictures

    def frame(self) -> bool:
        """Take what came, and draw if anything did; returns whether it drew."""
        with self.faults.guard("stream"):
            self._stale |= self._take()
        if self.notifier is not None:
            with self.faults.guard("notifier"):
                self.notifier.look(self.model)
                if trouble := self.notifier.trouble():
                    self.header.say(trouble)
        if self.review is not None and self.review.is_travelling:
            self.review.show_state()
            return True
        if not self._stale:
            return False
        self._stale = False
        with self.faults.guard("window"):
            self._show()
        if self._leaving and self.model.ended is not None:
            self.leave()
        return True

    def _take(self) -> bool:
        """Take what came; on the way to where a cursor was put, as much as a frame has time for."""
        news = self.model.pump()
        if self.review is not None:
            news |= self.review.tick()
            until = time.perf_counter() + TRAVEL_S
            while self.review.is_travelling and time.perf_counter() < until:
                news |= self.model.pump()
        return news

    def _show(self) -> None:
        model = self.model
        if model.generation != self._generation:
            self._generation = model.generation
            self.timeline = Timeline(self.plan)
        self.timeline.catch_up(model.board)
        snapshot = model.snapshot()
        now_s = snapshot.t_ns / 1e9
        whole = self.review.whole if self.review is not None else None
        self.span.whole_s = float(whole.seconds) if whole is not None else 0.0
        self.span.room = self.workbench.chart.label_room
        start_s, end_s = self.span.at(now_s)
        frame = Frame(
            plan=self.plan,
            snapshot=snapshot,
            board=model.board,
            timeline=self.timeline,
            looks=self.looks,
            theme=self.theme,
            start_s=start_s,
            end_s=end_s,
            now_s=now_s,
            selected=self.selected,
            whole=whole,
            later=None if whole is None or self.review is None else self.review.warnings,
            noted=None if self.review is None else self.review.markers,
            halted=model.halted,
            is_stale=model.is_stale,
        )
        if self.review is not None:
            with self.faults.guard("replay"):
                self.review.show_frame(frame)
        over = model.ended is not None
        is_far = self.pages.currentWidget() is self.far
        with self.faults.guard("alarm"):
            self.alarm.show_alarm(model, self.theme, far=is_far)
        if is_far:
            with self.faults.guard("far view"):
                self.far.show_frame(frame)
        else:
            self.workbench.show_frame(frame, at_once=over)
            with self.faults.guard("cursor"):
                self.overlays.show_frame(frame, self.workbench.chart.traces)
        if over and not self._over:
            self._free_to_close = True
            if self.review is None:
                self.header.end()
        self._over = over
        effort = snapshot.effort if self.review is None else self.review.effort(snapshot.second)
        self.header.show_effort(effort)
        self.header.show_follow(self.span.follow)
        news = self.commands.news()
        if news:
            self.header.say(news)
        self.status_line.show_state(
            now_s, model.status, model.ended, fault_words(model, self.faults)
        )

    def redraw(self) -> None:
        """Draw at the next frame even if nothing comes."""
        self._stale = True

    # What the user does

    def do(self, action: Action) -> None:
        """Carry out one action, from a key or a button."""
        now_s = self.model.snapshot().t_ns / 1e9
        if self.review is not None and self.review.do(action):
            self.redraw()
            return
        match action:
            case Action.MINUTE | Action.FIVE | Action.FIFTEEN | Action.ALL:
                self.span.set_follow(FOLLOWED[action])
            case Action.NOW:
                self.span.back_to_now()
            case Action.EARLIER:
                self.span.pan(-0.25, now_s)
            case Action.LATER:
                self.span.pan(0.25, now_s)
            case Action.CLOSER:
                self.span.zoom(1 / 1.5, now_s)
            case Action.WIDER:
                self.span.zoom(1.5, now_s)
            case Action.MARKER:
                self._marker()
            case Action.MARK_NOW:
                self._mark_now()
            case Action.NEXT_SENSOR:
                self._select_next(1)
            case Action.LAST_SENSOR:
                self._select_next(-1)
            case Action.TURN_PLANE:
                self.workbench.plane.turn()
            case Action.WARNINGS:
                self.pages.setCurrentWidget(self.workbench_page)
                if self.review is not None:
                    self.review.show_warnings()
                self.workbench_page.ensureWidgetVisible(self.workbench.warnings)
                self.workbench.warnings.setFocus()
            case Action.CONNECT:
                if self.selected and not self._over:
                    self.commands.connect(self.selected)
            case Action.ACKNOWLEDGE:
                self._acknowledge(everything=False)
            case Action.ACKNOWLEDGE_ALL:
                self._acknowledge(everything=True)
            case Action.FAR:
                self._toggle_far()
            case Action.THEME:
                self.appearance.turn()
                self.apply_theme()
            case Action.LARGER | Action.SMALLER | Action.SIZE:
                self.appearance.resize({Action.LARGER: 1, Action.SMALLER: -1}.get(action, 0))
                self.apply_theme()
            case Action.READOUT:
                self.readout.toggle(self.model.snapshot().second)
            case Action.READ_EARLIER:
                self.readout.step(-1, self.model.snapshot().second)
            case Action.READ_LATER:
                self.readout.step(1, self.model.snapshot().second)
            case Action.PAUSE:
                pause_or_play(self.model.feed, self.header.say)
            case Action.HELP:
                self.dialog = HelpPage(self.theme, self)
                self.dialog.open()
            case Action.STOP:
                if self.header.buttons[Action.STOP].isEnabled():
                    self._ask(closing=False)
            case Action.CLOSE:
                self.close()
        self.redraw()

    def select(self, number: int) -> None:
        """Show this test sensor in the agreement plane."""
        if number in self.plan.tests:
            self.selected = number
            self.redraw()

    def _select_next(self, step: int) -> None:
        tests = self.plan.tests
        if tests:
            self.select(tests[(tests.index(self.selected) + step) % len(tests)])

    def look_at(self, second: float) -> None:
        """Bring a second into the middle of the picture."""
        self.pages.setCurrentWidget(self.workbench_page)
        self.span.centre_on(second, self.model.snapshot().t_ns / 1e9)
        self.redraw()

    def _moved(self, start_s: float, end_s: float) -> None:
        self.span.set_free(start_s, end_s)
        self.redraw()

    def bring_into_picture(self, second: float) -> None:
        """Move a picture that does not follow, if this second lies outside of it."""
        start, end = self.span.at(self.model.snapshot().t_ns / 1e9)
        if self.span.follow is None and not start <= second <= end:
            self.look_at(second)
        self.redraw()

    def hold_picture(self) -> None:
        """Stop following, and stay with the stretch that is shown."""
        if self.span.follow is not None:
            self.span.set_free(*self.span.at(self.model.snapshot().t_ns / 1e9))

    def replan(self, plan: Plan) -> None:
        """The sensors have other labels now."""
        self.plan = plan
        self.workbench.replan(plan, self.theme)
        self.redraw()

    def _board_in_picture(self) -> Board:
        whole = None if self.review is None else self.review.whole_board
        return self.model.board if whole is None else whole

    def _set_marker(self, text: str, moment: int) -> None:
        if self.review is not None:
            self.review.add_marker(text, moment)
        else:
            self.commands.marker(text, self.header.marker.now() - moment)

    def _marker(self) -> None:
        field = self.header.marker
        if field.hasFocus() or field.text():
            field.finish()
        elif field.isEnabled():
            field.begin()

    def _mark_now(self) -> None:
        if self.header.marker.isEnabled():
            self.commands.marker("")

    def _acknowledge(self, *, everything: bool) -> None:
        """An alarm; else the warning chosen in the list, else the gravest that calls; or all."""
        if self.model.acknowledge_alarm() and not everything:
            return
        calling = [w for w in self.model.snapshot().open_warnings if w.calls]
        if not everything:
            chosen = self.workbench.warnings.chosen()
            calling = [w for w in calling if w.number == chosen] or calling[:1]
        if not calling:
            self.header.say("no warning calls")
        elif not self._over:
            self.commands.acknowledge(calling)

    def _toggle_far(self) -> None:
        is_far = self.pages.currentWidget() is self.far
        self.pages.setCurrentWidget(self.workbench_page if is_far else self.far)
        (self.workbench.chart if is_far else self.far).setFocus()

    @property
    def theme(self) -> Theme:
        """The theme in use."""
        return self.appearance.theme

    def recall(self, remembered: Remembered) -> None:
        """Use what the user chose in an earlier run, and keep what is chosen from now on."""
        self.appearance.recall(remembered)
        self.apply_theme()

    def apply_theme(self) -> None:
        """Apply the chosen theme, with text of the chosen size."""
        theme, font = self.theme, self.appearance.apply(self)
        self.header.apply_theme()
        self.cautions.apply_theme(theme)
        self.workbench.apply_theme(theme, font)
        self.status_line.apply_theme(theme)
        if self.review is not None:
            self.review.apply_theme()
        self.redraw()

    # Leaving

    def leave(self) -> None:
        """Close without asking; a running capture goes on."""
        self._free_to_close = True
        self.close()

    def _ask(self, *, closing: bool) -> None:
        self.dialog = LeaveDialog(self.model.feed.title, self, closing=closing)
        self.dialog.chosen.connect(lambda answer: self._leave(answer, closing=closing))
        self.dialog.open()

    def _leave(self, answer: Leaving, *, closing: bool) -> None:
        if answer is Leaving.END:
            self._leaving = closing
            self.commands.stop()
            self.header.say("ending the capture …")
        elif answer is Leaving.VIEW_ONLY:
            self.leave()

    def closeEvent(self, event: QCloseEvent) -> None:
        """While a capture runs the user is asked; otherwise the window goes."""
        if not self._free_to_close:
            event.ignore()
            self._ask(closing=True)
            return
        self._timer.stop()
        if self.notifier is not None:
            self.notifier.close()
        self.model.feed.close()
        event.accept()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The labels need another share of the width now."""
        super().resizeEvent(event)
        self.redraw()
