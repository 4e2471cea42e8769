"""The window: its parts, its keys, and the frame timer that keeps them up to date."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

from PySide6.QtGui import QCloseEvent, QResizeEvent
from PySide6.QtWidgets import QDialog, QMainWindow, QStackedWidget, QVBoxLayout, QWidget

from analysis.board import Board
from analysis.board.snapshot import Snapshot
from live.notify.notifier import Notifier
from live.protocol.feed import Feed
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from live.views.window.live.alarm_banner import AlarmBanner
from live.views.window.live.commands import Commands, pause_or_play
from live.views.window.live.context_menus import ContextMenus
from live.views.window.live.controls import Controls
from live.views.window.live.end_page import EndPage
from live.views.window.live.ending import Ending
from live.views.window.live.far_mode import FarMode
from live.views.window.live.far_view import FarView
from live.views.window.live.filing import Filing
from live.views.window.live.framing import Framing
from live.views.window.live.header import Header
from live.views.window.live.leaving import Leaving
from live.views.window.live.menu import Menus, bind_keys
from live.views.window.live.navigation import Navigation
from live.views.window.live.pace import Pace
from live.views.window.live.reviewing import Review, ReviewOf, ReviewParts
from live.views.window.live.status import StatusLine, fault_words
from live.views.window.live.workbench import Cautions, ScrolledWorkbench, Workbench
from live.views.window.parts.appearance import Appearance
from live.views.window.parts.dialogs import HelpPage
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action
from live.views.window.parts.mouse import MouseGestures
from live.views.window.parts.overlay import Overlays, OverlayState
from live.views.window.parts.plain_text import set_window_title
from live.views.window.parts.preferences import Preferences, PreferenceStore
from live.views.window.parts.readout import Readout
from live.views.window.parts.theme import LIGHT, Theme, sensor_styles
from live.views.window.parts.timeline import Timeline
from replay.plan import Plan

TRAVEL_S: Final = 0.06
"""Time of one frame that goes into bringing a replay to where its cursor was put."""


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
        self.navigation = Navigation(self.now_s, self)
        self.span = self.navigation.span
        self.commands = Commands(self.model)
        self.notifier: Notifier | None = None  # set by who opens the window
        self.selected = self.plan.tests[0] if self.plan.tests else 0
        self.styles = sensor_styles(self.plan)
        self.hidden: frozenset[int] = frozenset()
        self.seen = OverlayState()
        self._stale = True
        self._over = False
        self.help: HelpPage | None = None
        self._pace = Pace(self, self.frame, spares=feed.is_live)
        self._build(feed, review_of)
        self._connect()
        self._actions = self._table_of_actions()
        self.shortcuts = bind_keys(self, self.do)
        self.apply_theme()

    def _build(self, feed: Feed, review_of: ReviewOf | None) -> None:
        set_window_title(self, f"{feed.title} – Sidebeat")
        self.header = Header(self.plan, self.do, is_live=feed.is_live)
        self.cautions = Cautions()
        self.alarm = AlarmBanner(self.faults)
        self.alarm.known.connect(lambda: self.do(Action.ACKNOWLEDGE))
        self.workbench = Workbench(self.plan, self.styles, self.faults, self.seen)
        self.far = FarView(self.faults)
        self.pages = QStackedWidget()
        self.workbench_page = ScrolledWorkbench(self.workbench)
        self.pages.addWidget(self.workbench_page)
        self.pages.addWidget(self.far)
        self.far.left.connect(lambda: self.do(Action.FAR))
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
            parts = ReviewParts(
                self, self.model, self.faults, self.seen, self.mouse, self.workbench
            )
            self.review = review_of(self, feed, parts)
            layout.addWidget(self.review.bar)
            if not self.review.why_read_only:
                self.header.allow_markers("note at cursor")
                self.header.marker.now = self.review.position_ns
        self.setCentralWidget(inside)
        self.ending = Ending(self.pages, self.workbench_page, self.header, self.faults, self.do)
        self.status_line = StatusLine(
            feed.title, self.header.notice, is_live=feed.is_live, invented=self.plan.invented
        )
        self.setStatusBar(self.status_line)
        self.framing = Framing(self.model, self.span, self.workbench.chart, self.review)
        self.leaving = Leaving(
            self, feed.title, self.commands, self.header, is_free=not feed.is_live
        )
        self.filing = Filing(self, self.model, self.present, self.workbench.chart, self.header.say)
        self.menus = Menus(self.menuBar(), self.do, self.is_able, of_file=self.review is not None)
        self.context = ContextMenus(self, self, self.workbench, self.workbench.warnings.wanted.emit)
        self.controls = Controls(self.model, self.commands, self.header, self.workbench.warnings)
        self.far.pressed.connect(self._mark_from_afar)
        bars = [self.menuBar(), self.header, self.cautions, self.status_line]
        if self.review is not None:
            bars.append(self.review.bar)
        self.far_mode = FarMode(self, self.pages, self.far, bars, takes_keys=feed.is_live)
        self.readout = Readout(self.seen, self._board_in_picture, self.header.say)
        self.resize(1280, 720)

    def _connect(self) -> None:
        self.header.marker.written.connect(self._set_marker)
        self.navigation.moved.connect(self.redraw)
        self.navigation.looked_at.connect(self._show_workbench)
        self.readout.changed.connect(self.redraw)
        self.mouse.pointed.connect(self.readout.point)
        self.workbench.chart.moved.connect(self.navigation.show_stretch)
        self.workbench.warnings.wanted.connect(self.navigation.look_at)
        self.workbench.cards.chosen.connect(self.select)

    def start(self) -> None:
        """Draw from now on."""
        self.workbench.chart.setFocus()
        self._pace.start()

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
            self.review.show_pace()
            return True
        if not self._stale:
            return False
        self._stale = False
        with self.faults.guard("window"):
            self._show()
        if self.leaving.waits_for_end and self.model.ended is not None:
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

    def _draw_now(self) -> None:
        """A page that was turned to is painted at once: not as it was left, and not empty."""
        if self.review is None or not self.review.is_travelling:
            with self.faults.guard("window"):
                self._show()

    def _show(self) -> None:
        model = self.model
        self.framing.catch_up(self.plan)
        snapshot = model.snapshot()
        frame = self.frame_of(snapshot)
        if self.review is not None:
            with self.faults.guard("replay"):
                self.review.show_frame(frame)
        over = model.ended is not None
        is_far = self.far_mode.is_on
        effort = snapshot.effort if self.review is None else self.review.effort(snapshot.second)
        effort = None if frame.is_stale else effort
        with self.faults.guard("alarm"):
            self.alarm.show_alarm(model, self.theme, far=is_far)
        if is_far:
            with self.faults.guard("far view"):
                said = self.far_mode.said(self.header.notice)
                self.far.show_frame(frame, effort=effort, said=said)
        else:
            self.workbench.show_frame(frame)
            with self.faults.guard("cursor"):
                self.overlays.show_frame(frame, self.workbench.chart.traces)
        if over and not self._over:
            self.leaving.is_free = True
            if self.review is None:
                self.header.end()
                self.ending.show(frame, model, self.filing.capture, self.font())
        self._over = self.controls.is_over = over
        self.header.show_effort(effort)
        self.header.show_follow(self.span.follow)
        if news := self.commands.news():
            self.header.say(news)
        self.leaving.is_practice = model.status is not None and not model.status.path
        self.status_line.show_state(frame.now_s, model, fault_words(model, self.faults))

    def frame_of(self, snapshot: Snapshot) -> Frame:
        """What the pictures show of a snapshot now."""
        looks = (self.plan, self.theme, self.styles)
        return self.framing.frame(snapshot, *looks, self.selected, hidden=self.hidden)

    @property
    def timeline(self) -> Timeline:
        """The series as they are drawn."""
        return self.framing.timeline

    @property
    def end(self) -> EndPage | None:
        """The page of the end, once the recording is over."""
        return self.ending.page

    def _toggle_end(self) -> None:
        if self.far_mode.is_on:
            self._show_workbench()
        self.ending.toggle()

    def redraw(self) -> None:
        """Draw at the next frame even if nothing comes."""
        self._stale = True
        self._pace.hurry()

    # What the user does

    def _table_of_actions(self) -> dict[Action, Callable[[], None]]:
        controls, readout = self.controls, self.readout
        return {
            **self.navigation.actions,
            **self.filing.actions,
            Action.MARKER: controls.write_marker,
            Action.MARK_NOW: controls.mark_now,
            Action.NEXT_SENSOR: lambda: self._select_next(1),
            Action.LAST_SENSOR: lambda: self._select_next(-1),
            Action.TURN_PLANE: self.workbench.plane.turn,
            Action.WARNINGS: self._go_to_warnings,
            Action.CONNECT: lambda: controls.connect_sensor(self.selected),
            Action.ACKNOWLEDGE: lambda: controls.acknowledge(everything=False),
            Action.ACKNOWLEDGE_ALL: lambda: controls.acknowledge(everything=True),
            Action.FAR: self._toggle_far,
            Action.WORKBENCH: self._toggle_end,
            Action.THEME: self._turn_theme,
            Action.LARGER: lambda: self._resize_text(1),
            Action.SMALLER: lambda: self._resize_text(-1),
            Action.SIZE: lambda: self._resize_text(0),
            Action.READOUT: lambda: readout.toggle(self.model.snapshot().second),
            Action.READ_EARLIER: lambda: readout.step(-1, self.model.snapshot().second),
            Action.READ_LATER: lambda: readout.step(1, self.model.snapshot().second),
            Action.PAUSE: lambda: pause_or_play(self.model.feed, self.header.say),
            Action.HELP: self._help,
            Action.STOP: self._ask_to_stop,
            Action.CLOSE: self._close,
        }

    def do(self, action: Action) -> None:
        """Carry out one action, from a key or a button."""
        if self.review is not None and self.review.do(action):
            self.redraw()
            return
        if carry_out := self._actions.get(action):
            carry_out()
        self.redraw()

    def is_able(self, action: Action) -> bool:
        """Whether the menu offers an action now: what has a button, by its button."""
        button = self.header.buttons.get(action)
        return self.filing.is_able(action) and (button is None or button.isEnabled())

    def present(self) -> Frame:
        """What the newest picture shows."""
        return self.frame_of(self.model.snapshot())

    def now_s(self) -> float:
        """Capture time that is shown, in s."""
        return self.model.snapshot().t_ns / 1e9

    def select(self, number: int) -> None:
        """Show this test sensor in the agreement plane."""
        if number in self.plan.tests:
            self.selected = number
            self.redraw()

    def hide_sensor(self, number: int, *, hide: bool) -> None:
        """Leave a test sensor out of the time panels, or take it in again."""
        self.hidden = self.hidden | {number} if hide else self.hidden - {number}
        self.redraw()

    def _select_next(self, step: int) -> None:
        tests = self.plan.tests
        if tests:
            self.select(tests[(tests.index(self.selected) + step) % len(tests)])

    def _show_workbench(self) -> None:
        if self.far_mode.is_on:
            self.far_mode.leave(self.shortcuts)
            self._draw_now()
        self.ending.leave()

    def show_part(self, part: QWidget) -> None:
        """Turn to the workbench, and scroll this part of it into sight."""
        self._show_workbench()
        self.workbench_page.ensureWidgetVisible(part)

    def _go_to_warnings(self) -> None:
        self._show_workbench()
        if self.review is not None:
            self.review.show_warnings()
        self.show_part(self.workbench.warnings)
        self.workbench.warnings.setFocus()

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
            self.controls.set_marker(text, moment)

    def say(self, text: str) -> None:
        """One sentence to the user, above the picture."""
        self.header.say(text)

    def _toggle_far(self) -> None:
        if self.far_mode.is_on:
            self._show_workbench()
            self.workbench.chart.setFocus()
        else:
            self.far_mode.enter(self.shortcuts)
            self._draw_now()

    def _mark_from_afar(self) -> None:
        if self.model.feed.is_live:
            self.controls.mark_and_acknowledge()
            self.redraw()

    @property
    def theme(self) -> Theme:
        """The theme in use."""
        return self.appearance.theme

    def _turn_theme(self) -> None:
        self.appearance.turn()
        self.apply_theme()

    def _resize_text(self, step: int) -> None:
        self.appearance.resize(step)
        self.apply_theme()

    def recall(self, remembered: PreferenceStore) -> None:
        """Use what the user chose in an earlier run, and keep what is chosen from now on."""
        self.appearance.recall(remembered)
        self.filing.preferences = lambda: remembered.chosen
        self.filing.prefer = self._prefer
        self.apply_theme()

    def _prefer(self, chosen: Preferences) -> None:
        if self.appearance.remembered is not None:
            self.appearance.remembered.keep(chosen)
            self.appearance.recall(self.appearance.remembered)
            self.apply_theme()

    def apply_theme(self) -> None:
        """Apply the chosen theme, with text of the chosen size."""
        theme, font = self.theme, self.appearance.apply(self)
        self.header.apply_theme()
        self.cautions.apply_theme(theme)
        self.workbench.apply_theme(theme, font)
        self.status_line.apply_theme(theme)
        if self.review is not None:
            self.review.apply_theme(theme)
        self.ending.apply_theme(theme, font)
        self.redraw()

    def _help(self) -> None:
        self.help = HelpPage(self.theme, self)
        self.help.open()

    # Leaving

    def _close(self) -> None:
        self.close()

    def _ask_to_stop(self) -> None:
        if self.header.buttons[Action.STOP].isEnabled():
            self.leaving.ask(closing=False)

    def leave(self) -> None:
        """Close without asking; a running capture goes on."""
        self.leaving.leave()

    @property
    def dialog(self) -> QDialog | None:
        """The page or question that was opened last over the window."""
        return self.leaving.dialog or self.help

    def closeEvent(self, event: QCloseEvent) -> None:
        """While a capture runs the user is asked; otherwise the window goes."""
        if not self.leaving.may_close(event):
            return
        self._pace.stop()
        self.filing.report.close()
        if self.notifier is not None:
            self.notifier.close()
        self.model.feed.close()
        event.accept()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The labels need another share of the width now."""
        super().resizeEvent(event)
        self.redraw()
