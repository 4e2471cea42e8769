"""What the window can do with a recorded session: the player, the pages and the notes, together."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

from PySide6.QtCore import QObject, Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QVBoxLayout, QWidget

from analysis.board import Board, Marker
from analysis.board.snapshot import SensorWarning
from analysis.session.bookmarks import BookmarkKind, next_bookmark, previous_bookmark
from analysis.session.event_log import notifications
from analysis.session.index import CaptureIndex, Findings, Job, findings, read_index
from analysis.statistics.effort_finder import EffortState, state_at
from live.protocol.file_feed import FileFeed
from live.views.window.live.reviewing import ReviewHost, ReviewParts
from live.views.window.live.workbench import USUAL_SHARE
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action
from live.views.window.parts.theme import Theme
from live.views.window.parts.timeline import Timeline
from live.views.window.review.annotations import Annotations
from live.views.window.review.notifications import REACH_S, NotificationsPage
from live.views.window.review.numbers import NumbersPage
from live.views.window.review.overview import Overview
from live.views.window.review.tabs import Tabs
from live.views.window.review.transport import Transport, next_speed
from replay.errors import SidebeatError
from replay.event import NS_PER_S

_JUMPS: Final = {
    Action.NEXT_WARNING: (BookmarkKind.WARNING, True),
    Action.LAST_WARNING: (BookmarkKind.WARNING, False),
    Action.NEXT_MARKER: (BookmarkKind.MARKER, True),
    Action.LAST_MARKER: (BookmarkKind.MARKER, False),
    Action.NEXT_EFFORT: (BookmarkKind.EFFORT, True),
    Action.LAST_EFFORT: (BookmarkKind.EFFORT, False),
    Action.NEXT_GAP: (BookmarkKind.GAP, True),
    Action.LAST_GAP: (BookmarkKind.GAP, False),
}
_AGAIN_NS: Final = NS_PER_S
"""While playing, back from less than this behind a bookmark goes to the one before it."""


class ReviewController(QObject):
    """Belongs to a window that shows a file.  Built once the window's own parts are there."""

    def __init__(self, host: ReviewHost, feed: FileFeed, parts: ReviewParts) -> None:
        super().__init__(parts.parent)
        self._host = host
        self._model = parts.model
        self._workbench = parts.workbench
        self.feed = feed
        self.seen = parts.seen
        self.index: CaptureIndex | None = None
        self.found: Findings | None = None
        self.ahead = feed.shows_ahead
        self._whole: Timeline | None = None
        self._named: tuple[SensorWarning, ...] = ()
        path = feed.capture.path
        self._reading: Job | None = Job(lambda: read_index(path), "index")
        self._counting: Job | None = None
        self._count_again = False
        self._asked: list[tuple[BookmarkKind, bool]] = []
        self._resume = False
        self._shown_at: tuple[object, ...] = ()
        self.annotations = Annotations(host, feed, parts)
        self._build(parts)
        self._actions = self._table_of_actions()

    def _build(self, parts: ReviewParts) -> None:
        host, workbench = self._host, self._workbench
        self.transport = Transport(host.do)
        self.overview = Overview(parts.faults, self.feed.duration_ns / 1e9)
        self.bar = QWidget()
        layout = QVBoxLayout(self.bar)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3)
        layout.addWidget(self.overview)
        layout.addWidget(self.transport)
        self.tabs = Tabs()
        workbench.put_below(self.tabs)
        self.notifications = NotificationsPage(host.plan, parts.faults)
        self.numbers = NumbersPage()
        self.notes = self.annotations.page
        for page, name, hint in (
            (workbench.under, "warnings", "The warnings, and the agreement plane (W)"),
            (self.notifications, "notifications", "The notifications around the cursor (B)"),
            (self.numbers, "numbers", "The session's numbers, with and without exclusions (U)"),
            (self.notes, "notes", "Notes and suggested exclusions (Y)"),
        ):
            self.tabs.add(page, name, hint)
        self.tabs.turned.connect(self._turned)
        self.overview.wanted.connect(self.scrub)
        parts.mouse.takes_drags = True
        parts.mouse.scrubbed.connect(self._scrub_axis)
        parts.mouse.stretched.connect(self.annotations.stretch)
        self.annotations.changed.connect(self._noted)
        self.notifications.wanted.connect(self.go_to)
        self.notes.wanted.connect(self.go_to)
        for part in (workbench.chart, self.overview):
            space = QShortcut(QKeySequence(Qt.Key.Key_Space), part)
            space.setContext(Qt.ShortcutContext.WidgetShortcut)
            space.activated.connect(lambda: host.do(Action.PAUSE))

    @property
    def why_read_only(self) -> str:
        """One sentence if no note can be made; else empty."""
        return self.annotations.why_not

    def show_warnings(self) -> None:
        """Turn to the page with the warnings."""
        self.tabs.show_page(self._workbench.under)

    def add_marker(self, text: str, t_ns: int) -> None:
        """Add a marker to the notes."""
        self.annotations.marker(text, t_ns)

    # Work in the background

    def tick(self) -> bool:
        """Take what has been worked out meanwhile; returns whether there is news."""
        news = False
        if self._reading is not None and self._reading.done:
            job, self._reading = self._reading, None
            if isinstance(job.result, CaptureIndex):
                self._take_index(job.result)
            else:
                self._tell_problem(job.problem)
            news = True
        if self._counting is not None and self._counting.done:
            job, self._counting = self._counting, None
            if isinstance(job.result, Findings):
                self._take_findings(job.result)
            else:
                self._tell_problem(job.problem)
            news = True
            if self._count_again:
                self.count()
        self._carry_out_jumps()
        return news

    def _tell_problem(self, problem: object) -> None:
        self.numbers.show_problem(f"There are no numbers: {problem}")
        if self._asked:
            self._asked.clear()
            self._host.say(f"nothing to jump to: {problem}")

    def settle(self) -> None:
        """Wait until nothing is worked on any more; for tests and pictures."""
        while self._reading is not None or self._counting is not None:
            job = self._reading or self._counting
            if job is not None:
                job.wait()
            self.tick()

    def _take_index(self, index: CaptureIndex) -> None:
        self.index = index
        whole = Timeline(self._host.plan)
        whole.catch_up(index.board)
        self._whole = whole
        self._named = index.board.warnings
        self.annotations.take_suggestions(index.suggested)
        self.count()

    def count(self) -> None:
        """Work the numbers out anew, with the notes as they are now."""
        if self.index is None:
            return
        if self._counting is not None:
            self._count_again = True
            return
        self._count_again = False
        index, plan, notes = self.index, self.feed.plan, self.annotations.notebook.effective
        count = len(self.feed.capture.notes())
        self._counting = Job(lambda: findings(index, plan, notes, count), "numbers")

    def _take_findings(self, found: Findings) -> None:
        self.found = found
        self.numbers.show_record(found.record)
        self.seen.efforts = tuple(
            (float(e.start_s), float(e.return_s), f"effort {n}{' (marked)' if e.marked else ''}")
            for n, e in enumerate(found.efforts, 1)
        )
        excluded = tuple((float(s.start_s), float(s.end_s)) for s in found.record.exclusions)
        self.overview.show_session(found.data.reference.grid, found.bookmarks, excluded)
        self._host.redraw()

    # Pictures

    @property
    def is_travelling(self) -> bool:
        """Whether the board is on its way to where the cursor was put: not to be drawn yet."""
        return self.feed.catching_up

    @property
    def whole(self) -> Timeline | None:
        """All lines of the session, if they are to be drawn beyond the cursor."""
        return self._whole if self.ahead else None

    @property
    def whole_board(self) -> Board | None:
        """The board of the whole session, if what comes after the cursor is to be shown."""
        return self.index.board if self.ahead and self.index is not None else None

    @property
    def warnings(self) -> tuple[SensorWarning, ...]:
        """All warnings of the session, also those after the cursor."""
        return self._named

    def position_ns(self) -> int:
        """Where the cursor stands."""
        return self.feed.position_ns

    @property
    def markers(self) -> list[Marker]:
        """Markers set while recording and afterwards, in order; those after the cursor only if
        what comes after it is shown.
        """
        board = self.whole_board or self._model.board
        noted = [
            Marker(t_ns, f"✎ {text}") for t_ns, text in self.annotations.notebook.effective.markers
        ]
        return sorted([*board.markers, *noted], key=lambda marker: marker.t_ns)

    def effort(self, second: int) -> EffortState | None:
        """The effort at a second by the count of the whole session, once that is known."""
        if self.found is None:
            return self._model.board.effort
        return state_at(self.found.efforts, second)

    def show_pace(self) -> None:
        """Speed, and whether it plays: true of the player while the picture is on its way too."""
        self.transport.show_pace(self.feed)

    def show_frame(self, frame: Frame) -> None:
        """Bring the parts up to date with the board, which stands where the picture does."""
        self.show_pace()
        self.transport.show_position(frame.snapshot.t_ns, self.feed.duration_ns)
        self.seen.cursor_s = frame.now_s
        self.overview.theme = frame.theme
        self.overview.show_cursor(frame.now_s, (frame.start_s, frame.end_s))
        if self.tabs.pages.currentWidget() is self.notifications:
            self._show_notifications(frame)

    def _show_notifications(self, frame: Frame) -> None:
        at_ns = frame.snapshot.t_ns
        key = (
            at_ns,
            frame.theme.name,
            self.index is None,
            self._host.plan,
            frame.snapshot.second,
        )
        if key == self._shown_at:
            return
        if self.index is None and self._reading is not None:
            return  # without it the spacings would have to be searched for
        self._shown_at = key
        try:
            rows = notifications(
                self.feed.capture,
                at_ns - REACH_S * NS_PER_S,
                at_ns + REACH_S * NS_PER_S,
                before=None if self.index is None else self.index.before,
            )
        except SidebeatError as error:
            self._host.say(str(error))
            rows = ()
        self.notifications.show_around(rows, at_ns, frame)

    def apply_theme(self, theme: Theme) -> None:
        """Sizes and colours that follow the theme and the text."""
        self.transport.apply_theme()
        self.overview.theme = theme
        self.overview.updateGeometry()
        self.overview.update()
        self.notifications.apply_theme(theme)
        self.numbers.apply_theme()
        self._shown_at = ()

    def _turned(self) -> None:
        page = self.tabs.pages.currentWidget()
        # Tables need more room than the plane; the panels keep the rest.
        self._workbench.share_below(USUAL_SHARE if page is self._workbench.under else 0.42)
        self._shown_at = ()
        self._host.redraw()

    def _noted(self) -> None:
        """The notes have changed: everything that rests on them follows."""
        plan = self.feed.plan
        if plan != self._host.plan:
            self._host.replan(plan)
            self.notifications.replan(plan)
            self.feed.reload()
        self.count()
        self._host.redraw()

    # The player

    def do(self, action: Action) -> bool:
        """Carry out an action that is about a recorded session; false for any other."""
        if carry_out := self._actions.get(action):
            carry_out()
            return True
        return self.annotations.do(action)

    def _table_of_actions(self) -> dict[Action, Callable[[], None]]:
        feed = self.feed
        return {
            Action.PAUSE: self._pause,
            Action.STEP_ON: feed.step,
            Action.STEP_BACK: partial(feed.step, -1),
            Action.SKIP_ON: partial(feed.skip, 10 * NS_PER_S),
            Action.SKIP_BACK: partial(feed.skip, -10 * NS_PER_S),
            Action.TO_START: partial(self.go_to, 0),
            Action.FASTER: partial(self._change_speed, 1),
            Action.SLOWER: partial(self._change_speed, -1),
            Action.AHEAD: self._turn_ahead,
            Action.NOTIFICATIONS: partial(self._turn, self.notifications, self.notifications.lanes),
            Action.NUMBERS: partial(self._turn, self.numbers, self.numbers.table),
            Action.NOTES: partial(self._turn, self.notes, self.notes.list),
            **{action: partial(self._ask_jump, *jump) for action, jump in _JUMPS.items()},
        }

    def _pause(self) -> None:
        if self.feed.playing:
            self.feed.pause()
        else:
            self.feed.play()

    def _change_speed(self, step: int) -> None:
        self.feed.speed = next_speed(self.feed.speed, step)

    def _turn_ahead(self) -> None:
        self.ahead = not self.ahead

    def _turn(self, page: QWidget, focus: QWidget) -> None:
        self.tabs.show_page(page)
        self._host.show_part(self.tabs)
        focus.setFocus()

    def go_to(self, t_ns: int) -> None:
        """Put the cursor there, and bring it into the picture."""
        self._asked.clear()  # who went elsewhere meanwhile is not taken away from there
        self._put_cursor(t_ns)

    def _put_cursor(self, t_ns: int) -> None:
        self.feed.seek(t_ns)
        self._host.navigation.bring_into_picture(t_ns / 1e9)

    def _ask_jump(self, kind: BookmarkKind, forward: bool) -> None:
        """Jump as soon as it can be told to where: in the first second of a replay the capture is
        still being read, and of two quick strokes the second starts where the first has led.
        """
        reading = self._reading is not None or self._counting is not None
        if self.found is None and not reading:
            self._host.say(f"no {kind.value} is known: the capture could not be counted")
            return
        self._asked.append((kind, forward))
        if self.found is None:
            self._host.say(f"reading the whole capture, then to the {kind.value}")
        self._carry_out_jumps()

    def _carry_out_jumps(self) -> None:
        while self._asked and self.found is not None and not self.is_travelling:
            self._jump(self.found, *self._asked.pop(0))

    def _jump(self, found: Findings, kind: BookmarkKind, forward: bool) -> None:
        host = self._host
        at_ns = self.feed.position_ns
        if forward:
            bookmark = next_bookmark(found.bookmarks, kind, at_ns)
        else:
            behind = _AGAIN_NS if self.feed.playing else 0
            bookmark = previous_bookmark(found.bookmarks, kind, at_ns - behind)
        if bookmark is None:
            where = "after" if forward else "before"
            host.say(f"no {kind.value} {where} the cursor")
            return
        self._put_cursor(bookmark.t_ns)
        host.say(bookmark.text)

    def scrub(self, second: float, held: bool) -> None:
        """Move the cursor along with the mouse; it plays on when the button is let go."""
        if held and not self._resume and self.feed.playing:
            self._resume = True
            self.feed.pause()
        t_ns = round(max(second, 0.0) * 1e9)
        self._asked.clear()
        # While the board is still on its way, a new goal at each move would never be reached.
        if not held or not self.feed.catching_up:
            self.feed.seek(t_ns)
            self._host.navigation.bring_into_picture(second)
        if not held and self._resume:
            self._resume = False
            self.feed.play()
        self._host.redraw()

    def _scrub_axis(self, second: float, held: bool) -> None:
        # A picture that followed the cursor would run away under the hand.
        self._host.navigation.hold_picture()
        self.scrub(second, held)
