"""The capture process: one loop that stamps, saves and hands events on, from start to end.

It knows no screen.  It ends on Ctrl-C, SIGTERM, a set number of minutes, a view's request, or
when saving has failed; then every sensor is let go, the ending is written and the file closed.
Nothing else ends it: a source that fails is started again, a view that dies is mentioned.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from collections.abc import Awaitable, Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final, Protocol

from live.capture.clock import MonotonicClock, keep_watch, watch_disk
from live.capture.commands import Commands
from live.capture.link_sentences import LinkSentences
from live.capture.other_computers import clock_notes, tapped
from live.capture.recording import Duties, Recording
from live.capture.session import Session
from live.capture.session_router import ABANDONED_S, SessionRouter
from live.capture.signals import signals_go_to
from live.capture.view_server import Backlog, ViewServer
from live.protocol.feed import RECORDING_BEGINS, Acknowledged, CaptureStatus, Command, Ended
from live.protocol.frames import REHEARSAL, VERSION, Hello
from live.protocol.run_file import NoCapture
from live.sources.base import Source
from replay.errors import CaptureError
from replay.plan import Plan, format_plan

TICKS: Final = 4
"""A second."""
NODE_TICKS: Final = 20
"""The same where a node is in the plan: what a board holds back goes on with a tick."""
LETTING_GO_S: Final = 15.0
"""How long sensors may take to be let go: a disconnection takes 2 to 2.5 s, a broken adapter
longer; the file is closed after this in any case."""
RESTART_S: Final = 5.0
"""A source that failed is started again after this."""

_log = logging.getLogger(__name__)


class View(Protocol):
    """The view that was started along with the capture."""

    def ended(self) -> str | None:
        """How it ended, in a few words; ``None`` while it runs."""


@dataclass(frozen=True, slots=True)
class CaptureOutcome:
    """What a capture came to.

    ``path``: the file, ``None`` for practice.  ``saved``: events in the file.  ``reordered``,
    ``refused``: see :class:`Session`.  ``by_signal``: ended from outside (Ctrl-C, SIGTERM) rather
    than by a view or by time.  ``heard``: numbers of the sensors of which anything measured came.
    ``advice``: the newest sentence about the link of each other one, by number.  ``problem``: one
    sentence, empty if all went well.  ``clocks``: what is known of other computers' clocks, as in
    the notes of the file.
    """

    path: Path | None
    duration_ns: int
    events: int
    saved: int
    reordered: int
    refused: int
    reason: str
    by_signal: bool
    heard: frozenset[int]
    advice: Mapping[int, str]
    problem: str
    clocks: tuple[Mapping[str, str | int], ...] = ()


def run_capture(
    plan: Plan,
    out_dir: Path | None,
    sources: Sequence[Source],
    *,
    minutes: float | None = None,
    rehearse: bool = False,
    open_view: Callable[[Path], View | None] | None = None,
    say: Callable[[str], None] = print,
    say_of_links: Callable[[str], None] | None = None,
) -> CaptureOutcome:
    """Capture one session; returns when it has ended and its file is closed.

    ``out_dir``: folder for the file, made if need be; ``None``: nothing is saved.  ``open_view``:
    given the run file, starts the view, if any.  ``rehearse``: the session, its file and its
    minutes begin when a view asks for it (``record``); until then nothing is saved.  ``say``: takes
    one line for the tester; ``say_of_links``: the same for the newest sentence about each link that
    is not up, where no view shows it.  Call it on the main thread: it minds the signals.  Raises
    :class:`CaptureError` if the file cannot be made.
    """
    capture = _Capture(
        plan=plan,
        out_dir=out_dir,
        sources=sources,
        minutes=minutes,
        rehearse=rehearse,
        open_view=open_view,
        say=say,
        say_of_links=say_of_links,
    )
    with (
        signals_go_to(capture.interrupted),
        asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner,
    ):
        return runner.run(capture.run())


class _Capture:
    """One capture from start to end; its steps in the order in which they happen."""

    def __init__(
        self,
        *,
        plan: Plan,
        out_dir: Path | None,
        sources: Sequence[Source],
        minutes: float | None,
        rehearse: bool,
        open_view: Callable[[Path], View | None] | None,
        say: Callable[[str], None],
        say_of_links: Callable[[str], None] | None,
    ) -> None:
        self._plan = plan
        self._out_dir = out_dir
        self._sources = sources
        self._minutes = minutes
        self._rehearsing = rehearse
        self._beginning: asyncio.Task[Acknowledged] | None = None
        self._open_view = open_view
        self._tell_tester = say
        self._tell_of_links = say_of_links
        self._link_sentences = LinkSentences([sensor.label for sensor in plan.sensors])
        self._file: Recording | None = None
        self._view: View | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop = asyncio.Event()
        self._hurry = asyncio.Event()
        self._reason = ""
        self._by_signal = False

    def interrupted(self, reason: str) -> None:
        """A signal came.  The first stops the capture; the next hurries the letting go.

        Called by a signal handler, at any point of the main thread's work.
        """
        if self._loop is None:
            self._on_interrupt(reason)
            return
        with contextlib.suppress(RuntimeError):  # the loop is closed: all is done
            self._loop.call_soon_threadsafe(self._on_interrupt, reason)

    async def run(self) -> CaptureOutcome:
        """Capture until told to stop."""
        self._loop = asyncio.get_running_loop()
        clock = MonotonicClock()
        self._backlog = Backlog()
        if not self._rehearsing:
            self._file = self._open_file(clock, self._backlog)
        session = Session(
            clock,
            len(self._plan.sensors),
            self._file,
            tapped(self._backlog, self._sources, self._file),
        )
        self._router = SessionRouter(session, clock)
        self._commands = commands = Commands(
            self._router,
            self._sources,
            len(self._plan.sensors),
            request_stop=self._request_stop,
            is_ending=self._stop.is_set,
        )
        self._server = ViewServer(
            self._backlog,
            self._hello(clock),
            lambda command: (
                self._record(command) if command.action == "record" else commands.carry_out(command)
            ),
        )
        self._watching: list[asyncio.Task[None]] = []
        informing: list[asyncio.Task[None]] = []  # goes on when a rehearsal turns to recording
        served: list[asyncio.Task[None]] = []
        try:
            self._open_views()
            if not self._rehearsing:
                self._count_minutes()
            self._watch(clock, session)
            informing.append(asyncio.create_task(_for_ever(self._keep_views_informed)))
            # The watch has its first turn before the sources: the first event is an anchor.
            await asyncio.sleep(0)
            served += [
                asyncio.create_task(_for_ever(partial(source.run, clock, self._router.emit)))
                for source in self._sources
            ]
            await self._stop.wait()
        finally:
            if self._beginning is not None:
                await asyncio.wait([self._beginning])
            session = self._router.session
            await self._let_go(served)
            watching = [*self._watching, *informing]
            for task in watching:
                task.cancel()
            await asyncio.gather(*watching, return_exceptions=True)
            t_ns = session.end()
            await self._close_file(t_ns)
            self._tell_views()  # the last word on how much is saved
            problem, alarm = (file.problem, file.alarm) if (file := self._file) else ("", None)
            self._backlog.end(Ended(t_ns, problem or self._reason or "the capture failed", alarm))
            await self._server.stop()
        clocks = clock_notes(self._sources, self._router.shift_ns)
        return CaptureOutcome(
            path=self._path,
            duration_ns=t_ns,
            events=session.events,
            saved=file.committed if file else 0,
            reordered=session.reordered,
            refused=session.refused,
            reason=self._reason,
            by_signal=self._by_signal,
            heard=frozenset(session.heard),
            advice={n: said for n, said in session.advice.items() if n not in session.heard},
            problem=problem,
            clocks=tuple(body for _, body in clocks),
        )

    def _count_minutes(self) -> None:
        if self._minutes is not None and self._loop is not None:
            self._loop.call_later(
                self._minutes * 60, self._request_stop, f"{self._minutes:g} min have passed"
            )

    def _watch(self, clock: MonotonicClock, session: Session) -> None:
        """Watch over clock and disk for this session."""
        duties: list[Callable[[], Coroutine[Any, Any, None]]]
        duties = [lambda: keep_watch(clock, session.emit)]
        if (file := self._file) is not None:
            duties.append(lambda: watch_disk(file.path.parent, clock, session.emit))
            duties.append(file.watch)
        self._watching += [asyncio.create_task(_for_ever(duty)) for duty in duties]

    # From rehearsal to recording.

    def _record(self, command: Command) -> Acknowledged | Awaitable[Acknowledged]:
        if not self._rehearsing or self._beginning is not None:
            return Acknowledged(command.number, done=False, message="it has begun already")
        if self._stop.is_set():
            return Acknowledged(command.number, done=False, message="the capture is ending")
        self._beginning = asyncio.create_task(self._begin(command.number))
        self._beginning.add_done_callback(self._has_begun)
        return self._beginning

    def _has_begun(self, _task: asyncio.Task[Acknowledged]) -> None:
        self._beginning = None

    async def _begin(self, number: int) -> Acknowledged:
        """Begin the session that is recorded, with the links as they stand."""
        clock, backlog = MonotonicClock(), Backlog()
        try:
            # Links and rehearsal go on meanwhile; a disk that sleeps takes its time.
            file = await asyncio.to_thread(self._open_file, clock, backlog)
        except (CaptureError, OSError) as error:
            return Acknowledged(number, done=False, message=str(error))
        self._file, self._rehearsing = file, False
        session = Session(clock, len(self._plan.sensors), file, backlog)
        for task in self._watching:
            task.cancel()
        self._watching.clear()
        self._watch(clock, session)
        await asyncio.sleep(0)  # as at the start: the first event is an anchor
        rehearsal, before = self._router.session, self._backlog
        self._router.exchange(session, clock)
        self._backlog = backlog
        before.end(Ended(rehearsal.tick(), RECORDING_BEGINS))
        with contextlib.suppress(OSError):  # only what the run file says would be out of date
            self._server.turn_over(backlog, self._hello(clock))
        self._count_minutes()
        return Acknowledged(number, done=True, message="recording")

    # The file.

    def _open_file(self, clock: MonotonicClock, backlog: Backlog) -> Recording | None:
        """Make the file and the thread that writes it; ``None`` for practice."""
        if self._out_dir is None or self._loop is None:
            return None
        duties = Duties(
            earlier=backlog.events,
            changed=self._tell_views,
            moved=partial(self._file_moved, clock),
            lost=partial(self._request_stop, "saving failed"),
            say=self._say,
        )
        file = Recording(self._plan, self._out_dir, clock, self._loop, duties)
        self._say(f"Capturing to {file.path}")
        return file

    def _file_moved(self, clock: MonotonicClock) -> None:
        """The recording goes on in another file: also who attaches from now on is to know."""
        with contextlib.suppress(OSError):  # only what the run file says would be out of date
            self._server.rename(self._hello(clock))
        self._tell_views()

    async def _close_file(self, t_ns: int) -> None:
        if self._file is not None:
            await self._file.close(
                t_ns,
                self._reason,
                self._tell_views,
                clock_notes(self._sources, self._router.shift_ns),
            )

    # The views.

    def _hello(self, clock: MonotonicClock) -> Hello:
        return Hello(
            version=VERSION,
            plan=format_plan(self._plan),
            title=self._path.name if self._path else self._unsaved_title(),
            path=str(self._path.absolute()) if self._path else "",
            started_utc_ns=clock.started_utc_ns,
        )

    def _unsaved_title(self) -> str:
        return REHEARSAL if self._rehearsing else "practice, nothing is saved"

    def _open_views(self) -> None:
        try:
            run_file = self._server.start()
        except (OSError, NoCapture) as error:
            self._say(f"No view can attach to this capture ({error}); the capture goes on.")
            return
        if self._open_view is not None:
            try:
                self._view = self._open_view(run_file)
            except OSError as error:
                self._say(f"The view could not be started ({error}); the capture goes on.")

    async def _keep_views_informed(self) -> None:
        count, a_second = 0, NODE_TICKS if self._plan.nodes else TICKS
        watched_s = time.monotonic()
        while True:
            self._router.session.tick()
            if count % a_second == 0:
                self._tell_views()
                self._mention_links()
            self._mention_dead_view()
            if self._server.views or not self._rehearsing:
                watched_s = time.monotonic()
            elif time.monotonic() - watched_s > ABANDONED_S:
                self._request_stop("nobody watches the rehearsal")
            count += 1
            await asyncio.sleep(1 / a_second)

    @property
    def _path(self) -> Path | None:
        return self._file.path if self._file else None

    def _tell_views(self) -> None:
        self._server.tell(self._status())

    def _status(self) -> CaptureStatus:
        file, session = self._file, self._router.session
        return CaptureStatus(
            path=str(file.path.absolute()) if file else "",
            events=session.events,
            saved=file.committed if file else 0,
            commit_age_s=round(file.commit_age_s, 2) if file else 0.0,
            views=self._server.views,
            problem=(file.problem if file else "") or session.problem,
            alarm=file.alarm if file else None,
            trouble=self._commands.trouble,
            page=self._commands.page[0],
            page_to_look=self._commands.page[1],
        )

    def _mention_links(self) -> None:
        if self._tell_of_links is None or self._stop.is_set():
            return
        for line in self._link_sentences.news(self._router.session.advice):
            self._tell_of_links(line)

    def _mention_dead_view(self) -> None:
        if self._view is None or self._stop.is_set():
            return
        how = self._view.ended()
        if how is not None:
            self._view = None
            self._say(
                f"The view {how}; the capture goes on.  "
                "Attach a view again with 'sidebeat live --attach', stop with Ctrl-C."
            )

    # The end.

    async def _let_go(self, served: list[asyncio.Task[None]]) -> None:
        """End all sources; a second signal, or 15 s, end the waiting, never the saving."""
        if not served:
            return
        for task in served:
            task.cancel()
        waiting: list[asyncio.Future[Any]] = [
            asyncio.ensure_future(asyncio.wait(served, timeout=LETTING_GO_S)),
            asyncio.ensure_future(self._hurry.wait()),
        ]
        await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
        for future in waiting:
            future.cancel()
        if not all(task.done() for task in served):
            self._say("Some sensors were not let go in time; the file is closed all the same.")

    def _on_interrupt(self, reason: str) -> None:
        if self._stop.is_set():
            self._hurry.set()
        else:
            self._by_signal = True
            self._request_stop(reason)
            self._say("Stopping: the sensors are let go and the file is closed.")

    def _request_stop(self, reason: str) -> None:
        if not self._stop.is_set():
            self._reason = reason
            self._stop.set()

    def _say(self, line: str) -> None:
        with contextlib.suppress(OSError):  # nobody reads any more: not worth a session
            self._tell_tester(line)


async def _for_ever(duty: Callable[[], Coroutine[Any, Any, None]]) -> None:
    """Run a source or a watch for as long as the session lasts, whatever befalls it."""
    while True:
        try:
            await duty()
        except Exception:
            _log.exception("a part of the capture failed; it starts again")
            await asyncio.sleep(RESTART_S)
        else:
            return
