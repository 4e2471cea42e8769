"""A recording and its file, which may have to be exchanged: it goes on in a new one if it can.

The file of a running recording may be removed, moved, replaced or made unwritable, or saving may
fail.  Then a new file is begun beside it that belongs to the same session and gets everything
from the first event on, out of the backlog that is kept for the views anyway: so no two files have
to be laid together, and nothing is counted twice.  The file before is written on until the new one
holds all of it.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.report.words import count
from live.capture.capture_file import CaptureFile, make_capture_file
from live.capture.clock import MonotonicClock
from live.capture.saver import Saver
from live.protocol.alarm import GOES_ON, KEEP_NEW_FILE, Alarm
from replay.capture.notes import GOES_ON_IN, Note
from replay.errors import CaptureError
from replay.event import Event
from replay.plan import Plan

RETRY_S: Final = 5.0
"""Between two tries to begin a new file while the one before is in danger."""
CATCH_UP_S: Final = 30.0
"""How long a new file may take to hold what came before; a million events take some 10 s."""
NEWS_S: Final = 60.0
"""How long views tell of a new file if nobody acknowledges it: all is well again."""
MOST_FILES: Final = 20
"""Of one recording: something that takes one file after the other is not outrun."""
PARTING_S: Final = 2.0
"""How long the end waits for files that were left."""


@dataclass(frozen=True, slots=True)
class Duties:
    """What a recording asks of the capture; each is called on the loop.

    ``earlier``: everything since the session began, also gone through in another thread.
    ``changed``: what views are told of the file has changed.  ``moved``: it is another file by now.
    ``lost``: saving has failed for good.
    """

    earlier: Callable[[], Iterable[Event]]
    changed: Callable[[], None]
    moved: Callable[[], None]
    lost: Callable[[], None]
    say: Callable[[str], None]


class Recording:
    """The present file of a recording, and the way to the next.

    Made in any thread; ``loop`` is where all else is called.  The constructor raises
    :class:`CaptureError` if the file cannot be made.
    """

    def __init__(
        self,
        plan: Plan,
        folder: Path,
        clock: MonotonicClock,
        loop: asyncio.AbstractEventLoop,
        duties: Duties,
    ) -> None:
        self._plan = plan
        self._folder = folder
        self._clock = clock
        self._loop = loop
        self._duties = duties
        self._next: CaptureFile | None = None
        self._left: list[Saver] = []
        self._news: Alarm | None = None
        self._looking: asyncio.Future[None] | None = None
        self._moving: asyncio.Task[None] | None = None
        self._closing = asyncio.Event()
        self._file = make_capture_file(plan, folder, clock, self._on_failure)

    @property
    def path(self) -> Path:
        """Of the present file."""
        return self._file.path

    @property
    def session_uuid(self) -> str:
        """Of the recording, whatever file it is in."""
        return self._file.session_uuid

    @property
    def problem(self) -> str:
        """Why the recording is not what it should be; empty if all is well."""
        return self._file.problem

    @property
    def alarm(self) -> Alarm | None:
        """What every view has to say of the file now."""
        return self._file.alarm or (None if self._closing.is_set() else self._news)

    @property
    def committed(self) -> int:
        """Events that are on the disk."""
        return self._file.saver.committed

    @property
    def commit_age_s(self) -> float:
        """Seconds that an event has waited for the disk; 0 if none waits."""
        return self._file.saver.commit_age_s

    def put(self, event: Event) -> None:
        """Hand over one event; never blocks, never raises."""
        self._file.saver.put(event)
        if self._next is not None:
            self._next.saver.put(event)

    async def watch(self) -> None:
        """Look at the file every second until cancelled, and go on in another if need be."""
        while True:
            self._looking = asyncio.ensure_future(self._file.watch(self._seen))
            try:
                # It is cancelled by itself when there is another file to look at.
                await asyncio.wait([self._looking])
            finally:
                self._looking.cancel()

    async def close(
        self,
        t_ns: int,
        reason: str,
        meanwhile: Callable[[], None],
        last_words: Iterable[tuple[str, Mapping[str, str | int]]] = (),
    ) -> None:
        """End and close the file; as :meth:`CaptureFile.close`."""
        self._closing.set()
        if self._moving is not None:
            await asyncio.wait([self._moving])
        if not self._file.saver.failure:
            await self._file.look()
            if self._file.why_elsewhere:
                await self._go_on(self._file.why_elsewhere)
        await self._file.close(t_ns, reason, meanwhile, last_words)
        for saver in self._left:
            await asyncio.to_thread(saver.join, PARTING_S)

    def _seen(self, alarm: Alarm | None) -> None:
        self._duties.changed()
        if alarm is None:
            self._duties.say("The capture file is as it should be again.")
            return
        self._duties.say(f"{alarm.headline}: {alarm.sentence}  {alarm.advice}")
        if self._file.why_elsewhere:
            self._move()

    def _is_old_news(self, news: Alarm) -> None:
        if self._news is news:
            self._news = None
            self._duties.changed()

    def _on_failure(self, file: CaptureFile) -> None:
        """Called in the saver's thread."""
        with contextlib.suppress(RuntimeError):  # the loop is closed: too late to matter
            self._loop.call_soon_threadsafe(self._saving_failed, file)

    def _saving_failed(self, file: CaptureFile) -> None:
        if file is not self._file or self._closing.is_set():
            return  # who tried or closes it sees for himself
        file.is_in_danger()
        self._duties.changed()
        self._move()

    def _move(self) -> None:
        if self._moving is None:
            self._moving = asyncio.create_task(self._keep_trying())
            self._moving.add_done_callback(self._has_moved)

    def _has_moved(self, _task: asyncio.Task[None]) -> None:
        self._moving = None

    async def _keep_trying(self) -> None:
        """Until the file is as it should be, is another one, or saving has failed for good."""
        if self._file.saver.failed_by_disk:
            await self._file.look_closely()
        before = self._file
        while why := self._file.why_elsewhere:
            await self._go_on(why)
            if self._file is not before:
                return
            if self._file.saver.failure or self._closing.is_set():
                break
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(RETRY_S):
                    await self._closing.wait()
        if self._file.saver.failure:
            await self._file.has_failed()
            self._duties.lost()

    async def _go_on(self, why: str) -> None:
        """Begin another file, bring everything into it, and leave the present one for it.

        A new file that does not take everything is removed again, and the present one is kept to.
        """
        before = self._file
        if before.place >= MOST_FILES:
            return
        try:
            after = await asyncio.to_thread(
                make_capture_file,
                self._plan,
                self._folder,
                self._clock,
                self._on_failure,
                before=before,
            )
        except (CaptureError, OSError):
            return
        # One step of the loop: what has come is earlier, what comes is put into both.
        after.saver.catch_up(self._duties.earlier(), before.saver.accepted)
        self._next = after
        await asyncio.to_thread(after.saver.caught_up.wait, CATCH_UP_S)
        self._next = None
        # A file that is itself a second one has a note on the one before.
        number = 2 if before.place > 1 else 1
        last_words = Note(number, time.time_ns(), GOES_ON_IN, {"file": after.path.name})
        if after.saver.failure or not after.saver.caught_up.is_set():
            after.saver.let_go(last_words)
            if await asyncio.to_thread(after.saver.join, PARTING_S):
                after.remove()
            return
        self._file = after
        before.saver.let_go(last_words)
        self._left.append(before.saver)
        sentence = (
            f"The recording goes on in {after.path}, which holds all "
            f"{count(after.saver.committed)} events since its start, because {why}."
        )
        self._news = Alarm(GOES_ON, sentence, KEEP_NEW_FILE)
        self._loop.call_later(NEWS_S, self._is_old_news, self._news)
        self._duties.say(sentence)
        if self._looking is not None:
            self._looking.cancel()
        self._duties.moved()
