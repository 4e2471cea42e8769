"""The terminal view: a full screen where there is a terminal, plain lines where there is none."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

from rich.console import Console, RenderableType
from rich.live import Live

from analysis.report.words import clock
from live.notify.factory import closing_if_any, notifier_of
from live.notify.notifier import Notifier
from live.notify.options import DEFAULT_OPTIONS, NotifyOptions
from live.protocol.feed import CaptureStatus, Feed
from live.protocol.file_feed import FASTEST, SLOWEST, FileFeed
from live.protocol.view_model import ViewModel
from live.views.terminal.console import PlainConsole
from live.views.terminal.keys import Keys, keyboard
from live.views.terminal.lines import follow_in_lines
from live.views.terminal.page_code import page_screen
from live.views.terminal.screen import ScreenState, screen
from live.views.terminal.summary import print_summary
from live.views.terminal.tables import Halt
from replay.event import NS_PER_S

FRAME_S: Final = 0.1
"""Ten pictures a second at most; text changes once a second, keys should feel immediate."""

QUIET_FRAME_S: Final = 0.5
"""A picture at least this often, so that the age of the last commit is seen to run."""

STOP_WAIT_S: Final = 20.0
"""Time a stopping capture is given: letting go of a sensor takes up to 2.5 s, one by one."""

CALL_ON_S: Final = 60.0
"""How long an alarm is heard that no key can acknowledge: the capture that this view belongs to was
killed, and the terminal is its shell's again."""

LIVE_KEYS: Final = "m marker   v, V acknowledge one, all   q stop recording   d leave, it goes on"
PAGE_KEY: Final = "p page   "
ALARM_KEYS: Final = "v I know of the alarm   q stop recording   d leave, it goes on"
LOST_KEYS: Final = "v I know: leave this screen"
REPLAY_KEYS: Final = "space pause   ← → 10 s   n next   p previous   + - speed   q leave"


class TerminalView:
    """The state of the screen between keys and frames; draws nothing itself."""

    def __init__(
        self,
        feed: Feed,
        *,
        leave_at_end: bool,
        plain: bool = False,
        notifier: Notifier | None = None,
    ) -> None:
        self.model = ViewModel(feed)
        self._notifier = notifier
        self.done = False
        self.interrupted = False
        self.orphaned = False
        self._feed = feed
        self._player = feed if isinstance(feed, FileFeed) else None
        self._leave_at_end = leave_at_end
        self._plain = plain
        self._note = ""
        self._asked: dict[int, str] = {}
        self._stop_asked_twice = False
        self._stopping = False
        self.shows_page = False

    @property
    def in_a_hurry(self) -> bool:
        """Whether the feed has more to give at once, so that the loop should not sleep."""
        player = self._player
        return player is not None and (
            player.catching_up or (player.playing and player.speed is None)
        )

    def pump(self) -> bool:
        """Take what came; returns whether anything did."""
        news = self.model.pump()
        if self._notifier is not None:
            self._notifier.look(self.model)
            self._note = self._notifier.trouble() or self._note
        for number, what in list(self._asked.items()):
            answer = self.model.answer(number)
            if answer is not None:
                del self._asked[number]
                self._note = answer.message or (f"{what}: done" if answer.done else f"{what}: no")
        may_leave = self._player is None or self._leave_at_end
        # The loudest event stays until somebody says that it is known.
        is_seen = self.model.alarm is None or self.model.alarm_is_known
        if self.model.ended is not None and may_leave and is_seen:
            self.done = True
        return news

    def press(self, key: str) -> None:
        """React to one key, by the names of :mod:`live.views.terminal.keys`."""
        self._note = ""
        if self._player is not None:
            self._press_player(self._player, key)
            return
        if self._was_for_the_alarm(key):
            return
        if key == "m":
            self._ask("marker", "marker", text=self._marker_text())
        elif key in {"v", "V"}:
            self._acknowledge(everything=key == "V")
        elif key in {"q", "\x1b"}:
            if self._stop_asked_twice:
                self.stop()
            else:
                self._stop_asked_twice = True
                self._note = "q once more stops the recording; any other key goes on"
                return
        elif key == "d":
            self.done = True
        elif key == "p":
            self._turn_page()
        self._stop_asked_twice = False

    def _was_for_the_alarm(self, key: str) -> bool:
        """Note an alarm as known; whether the key is used up by that."""
        if self.model.alarm is None or key not in {"v", "V", "q", "d", "\x1b"}:
            return False
        if self.model.acknowledge_alarm():
            self._note = "the alarm is known; its sound has stopped"
        if self.model.ended is not None:
            self.done = True
            return True
        return key in {"v", "V"}

    def _turn_page(self) -> None:
        self.shows_page = self.page is not None and not self.shows_page
        self._note = "" if self.page is not None else "no page is served: live --page"

    def interrupt(self) -> None:
        """Ctrl-C: a recording is stopped and its end awaited; the second time leaves at once."""
        self.interrupted = True
        self.model.acknowledge_alarm()
        if self._player is not None or self._stopping or self.model.ended is not None:
            self.done = True
        else:
            self.stop()

    def stop(self) -> None:
        """Ask the capture to stop; the view leaves when it has."""
        if not self._stopping:
            self._stopping = True
            self._ask("stop", "stop")
        self._note = "Stopping: the sensors are let go and the file is closed."

    @property
    def stopping(self) -> bool:
        """Whether the capture was asked to stop."""
        return self._stopping

    @property
    def page(self) -> CaptureStatus | None:
        """Where the page for the phone is; ``None`` if none is served, or the recording is over."""
        status = self.model.status
        is_there = status is not None and status.page and self.model.ended is None
        return status if is_there else None

    def picture(self, width: int, height: int) -> RenderableType:
        """What the screen shows now: the page's code, where it was asked for and nothing calls."""
        if self.shows_page and self.page is not None and self.model.alarm is None:
            return page_screen(self.page, height, plain=self._plain)
        return screen(self.shown(), width, height)

    def shown(self) -> ScreenState:
        """What the screen shows now."""
        model = self.model
        keys = LIVE_KEYS if self._player is None else REPLAY_KEYS
        if self.page is not None:
            keys = PAGE_KEY + keys
        if self.model.alarm is not None and not self.model.alarm_is_known:
            keys = ALARM_KEYS if self.model.ended is None else LOST_KEYS
        if self._plain:
            keys = keys.replace("← →", "arrows")
        return ScreenState(
            title=self._feed.title,
            plan=model.plan,
            snapshot=model.snapshot(),
            mode=self._mode(),
            markers=[(marker.t_ns, marker.text) for marker in model.board.markers],
            past=[warning for warning in model.board.warnings if warning.end_s is not None],
            status=model.status,
            note=self._note,
            keys=keys,
            late=model.board.late,
            faults=model.faults,
            plain=self._plain,
            alarm=model.alarm,
            alarm_is_known=model.alarm_is_known,
            halt=Halt(model.halted, model.is_stale),
        )

    def _mode(self) -> str:
        player = self._player
        if self.model.is_stale:
            return self.model.halted
        if player is None:
            if self.model.ended is not None:
                return "ended"
            status = self.model.status
            return "practice" if status is not None and not status.path else "recording"
        length = clock(player.duration_ns / NS_PER_S)
        if self.model.ended is not None:
            return f"of {length}  replay: end"
        pace = "flat out" if player.speed is None else f"{player.speed:g} x"
        return f"of {length}  replay {pace if player.playing else 'paused'}"

    def _marker_text(self) -> str:
        return f"marker {len(self.model.board.markers) + 1}"

    def _acknowledge(self, *, everything: bool) -> None:
        calling = [w for w in self.model.snapshot().open_warnings if w.calls]
        if not calling:
            self._note = "no warning calls"
        for number in self.model.acknowledge(calling if everything else calling[:1]):
            self._asked[number] = "acknowledge"

    def _ask(self, action: str, what: str, **values: str | int) -> None:
        self._asked[self._feed.send(action, **values)] = what

    def _press_player(self, player: FileFeed, key: str) -> None:
        match key:
            case "q" | "\x1b":
                self.done = True
            case " ":
                if player.playing:
                    player.pause()
                else:
                    player.play()
            case "left" | "right":
                player.skip(10 * NS_PER_S * (1 if key == "right" else -1))
            case "n":
                player.step(1)
            case "p":
                player.step(-1)
            case "+" | "=" | "-":
                now = FASTEST if player.speed is None else player.speed
                faster = now / 2 if key == "-" else now * 2
                player.speed = min(max(faster, SLOWEST), FASTEST)
            case "m":
                self._ask("marker", "marker", text=self._marker_text())


def run_terminal(
    feed: Feed,
    *,
    leave_at_end: bool = False,
    summary: bool = True,
    console: Console | None = None,
    sleep: Callable[[float], None] = time.sleep,
    options: NotifyOptions = DEFAULT_OPTIONS,
) -> int:
    """Show a feed until it is left; returns the exit status: 130 after Ctrl-C, 1 if a recording has
    ended unasked.

    Without a terminal, plain lines are printed now and then until the feed ends.  ``summary``:
    print the tables as they stand when leaving.  ``options``: how it calls the tester.  The feed is
    left open for the caller.
    """
    console = console or PlainConsole()
    if not console.is_terminal or console.is_dumb_terminal:
        model = ViewModel(feed)
        with closing_if_any(notifier_of(feed, options)) as notifier:
            status = follow_in_lines(model, console, sleep=sleep, notifier=notifier)
        if summary:
            console.print()
            print_summary(model, console)
        return status
    plain = not console.encoding.lower().startswith("utf")
    with closing_if_any(notifier_of(feed, options, console.bell)) as notifier:
        view = TerminalView(feed, leave_at_end=leave_at_end, plain=plain, notifier=notifier)
        with (
            keyboard() as keys,
            Live(
                console=console, screen=True, auto_refresh=False, vertical_overflow="crop"
            ) as live,
        ):
            while True:
                try:
                    _show(view, console, live, keys, sleep)
                    break
                except KeyboardInterrupt:
                    view.interrupt()
        if summary:
            print_summary(view.model, console)
        until = time.monotonic() + (CALL_ON_S if view.orphaned else 0.0)
        while time.monotonic() < until:
            view.pump()
            sleep(FRAME_S)
    if view.interrupted:
        return 130
    return 1 if view.model.ended is not None and view.model.alarm is not None else 0


def _show(
    view: TerminalView,
    console: Console,
    live: Live,
    keys: Keys,
    sleep: Callable[[float], None],
) -> None:
    drawn_at, drawn_size, stop_by = float("-inf"), None, None
    while not view.done:
        if view.model.ended is not None and view.model.alarm is not None and not keys.are_ours():
            view.orphaned = True
            return
        pressed = keys.read()
        for key in pressed:
            view.press(key)
        news = view.pump()
        now = time.monotonic()
        if view.stopping:
            stop_by = stop_by or now + STOP_WAIT_S
            view.done = view.done or now > stop_by
        waited = now - drawn_at
        wanted = bool(pressed) or console.size != drawn_size or waited >= QUIET_FRAME_S
        if wanted or (news and waited >= FRAME_S):
            drawn_at, drawn_size = now, console.size
            width, height = console.size
            live.update(view.picture(width, height), refresh=True)
        if not view.in_a_hurry:
            sleep(FRAME_S / 2)
