"""The file of one capture: its place and name, making and closing, and all that goes wrong."""

from __future__ import annotations

import asyncio
import contextlib
import importlib.metadata
import mmap
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Final

from analysis.report.words import count
from live.capture.clock import MonotonicClock
from live.capture.file_watch import FileWatch, watch_file
from live.capture.saver import Saver
from live.protocol.alarm import BEGIN_ANEW, ENDED, UNSAFE, Alarm, look_at_saved
from replay.capture import CaptureWriter, capture_name
from replay.capture.beginning import UNBEGUN, sweep
from replay.capture.files import INDEX, LOG, sidecar
from replay.capture.notes import GOES_ON_FROM, Note
from replay.errors import CaptureError
from replay.plan import Plan

CLOSING_S: Final = 60.0
"""How long the disk may take to close the file before it is called a failure."""
CONTINUED: Final = "-continued"
"""Behind the name of a file that a recording has gone on in."""
TRYING: Final = "Wait a moment: a new file is tried."


class CaptureFile:
    """The file, the thread that writes it, and the watch over it.

    ``problem``: why the recording is not what it should be, without a full stop; empty if all is
    well.  ``alarm``: what every view has to say of it now.  ``session_uuid``: the same in every
    file of one recording; ``place``: which of them this is, from 1.  ``on_failure``: called in the
    saver's thread, with this file, when saving has failed; the loop then calls
    :meth:`has_failed`, unless the recording goes on elsewhere.
    """

    def __init__(
        self,
        path: Path,
        session_uuid: str,
        open_writer: Callable[[], CaptureWriter],
        on_failure: Callable[[CaptureFile], None],
        *,
        place: int = 1,
    ) -> None:
        """Make the file and start its thread.  Raises what the making raised."""
        self.path: Final = path
        self.session_uuid: Final = session_uuid
        self.place: Final = place
        self.problem = ""
        self.alarm: Alarm | None = None
        self._parting = threading.Event()
        self.saver: Final = Saver(open_writer, partial(self._part, on_failure))
        self.saver.start()
        self._watch = FileWatch(path)

    async def watch(self, tell: Callable[[Alarm | None], None]) -> None:
        """Look at the file every second until cancelled; ``tell`` hears of each change."""

        def seen(alarm: Alarm | None) -> None:
            if not self.problem:  # a failure of saving is graver
                self.alarm = alarm
                tell(alarm)

        saver = self.saver
        await watch_file(self._watch, lambda: (saver.committed, saver.commit_age_s), seen)

    @property
    def why_elsewhere(self) -> str:
        """Why the recording should go on in another file; empty if it need not, or if the disk is
        at fault: a second copy beside the first would only take what room is left.
        """
        if self.saver.failure and not self.saver.failed_by_disk:
            return self.saver.failure.replace(f"{self.path}: ", "")
        return self._watch.why_elsewhere

    async def look(self) -> None:
        """Look at the file now, out of turn."""
        await asyncio.to_thread(self._watch.look_at_place)

    async def look_closely(self) -> None:
        """Wait for the look, also at its log, that the saver takes before it lets go of the file:
        an error of the disk may be that of a file that was taken.
        """
        await asyncio.to_thread(self._parting.wait, CLOSING_S)

    def _part(self, on_failure: Callable[[CaptureFile], None]) -> None:
        """In the saver's thread, when saving has failed."""
        on_failure(self)
        self._watch.look_before_parting(self.saver.committed, self.saver.commit_age_s)
        self._parting.set()

    def is_in_danger(self) -> None:
        """Say so meanwhile, until it is known whether the recording can go on."""
        why = self.saver.failure
        self.alarm = Alarm(UNSAFE, f"{why[:1].upper()}{why[1:]}.", TRYING)

    def remove(self) -> None:
        """Remove a file that came to nothing, with what lies beside it; never raises."""
        for suffix in ("", LOG, INDEX):
            with contextlib.suppress(OSError):
                sidecar(self.path, suffix).unlink()

    async def has_failed(self) -> None:
        """Saving has failed for good: say what is saved and how much is not, after a look at it."""
        await asyncio.to_thread(self.saver.join, CLOSING_S)  # until then it may not be looked at
        saved = await asyncio.to_thread(self._what_is_saved)
        lost = self.saver.accepted - self.saver.committed
        lacking = f"The last {count(lost)} events are not in it"
        self._end_badly(f"{self.saver.failure}.  {saved}  {lacking}")

    async def close(
        self,
        t_ns: int,
        reason: str,
        meanwhile: Callable[[], None],
        last_words: Iterable[tuple[str, Mapping[str, str | int]]] = (),
    ) -> None:
        """End and close the file; ``meanwhile`` is called now and then while that lasts.

        ``last_words``: kinds and bodies of the notes to leave in it.
        """
        saver = self.saver
        first = 2 if self.place > 1 else 1  # a second file has a note on the one before
        notes = [
            Note(number, time.time_ns(), kind, body)
            for number, (kind, body) in enumerate(last_words, first)
        ]
        saver.close(t_ns, reason or "the capture failed", notes)
        for _ in range(round(CLOSING_S)):
            if await asyncio.to_thread(saver.join, 1.0):
                break
            meanwhile()
        else:
            self._end_badly(
                f"the disk did not finish closing {self.path} within {CLOSING_S:g} s: the newest "
                "events may not be in it"
            )
            return
        if saver.failure:
            await self.has_failed()
        elif (wrong := await asyncio.to_thread(self._watch.look_at_place)) is not None:
            self._end_badly(wrong.sentence.removesuffix("."))
        elif not reason:
            self._end_badly(f"the capture failed.  {self._what_is_saved()}".removesuffix("."))
        else:
            self.alarm = None

    def _end_badly(self, problem: str) -> None:
        self.problem = problem
        self.alarm = Alarm(ENDED, f"{problem[:1].upper()}{problem[1:]}.", BEGIN_ANEW)

    def _what_is_saved(self) -> str:
        watch = self._watch
        return look_at_saved(watch.path, watch.identity, self.saver.committed).sentence


def make_capture_file(
    plan: Plan,
    folder: Path,
    clock: MonotonicClock,
    on_failure: Callable[[CaptureFile], None],
    *,
    before: CaptureFile | None = None,
) -> CaptureFile:
    """Make the file under a free name, in a folder that is made if need be.

    ``before``: the file of this recording that cannot be kept to; the new one is named after it
    and says so in a note.  Raises :class:`CaptureError` in one sentence.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CaptureError(f"the folder {folder} cannot be made: {error.strerror}") from None
    sweep(folder)
    with contextlib.suppress(OSError):  # the writer says it in its own words
        if problem := no_shared_maps(folder):
            raise CaptureError(problem)
    started = datetime.fromtimestamp(clock.started_utc_ns / 1e9)
    session_uuid = before.session_uuid if before else str(uuid.uuid4())
    place = before.place + 1 if before else 1
    wanted = folder / capture_name(started, plan)
    if before:
        wanted = wanted.with_stem(f"{wanted.stem}{CONTINUED}{f'-{place - 1}' if place > 2 else ''}")
    for path in free_names(wanted):
        writer = partial(
            _open_writer,
            path,
            plan,
            clock.started_utc_ns,
            session_uuid,
            (before.path.name, before.why_elsewhere) if before else None,
        )
        try:
            return CaptureFile(path, session_uuid, writer, on_failure, place=place)
        except CaptureError:
            if path.exists():  # another capture that began in this moment took the name
                continue
            raise
    raise CaptureError(f"{folder} holds too many captures of this minute")


def _open_writer(
    path: Path,
    plan: Plan,
    started_utc_ns: int,
    session_uuid: str,
    before: tuple[str, str] | None,
) -> CaptureWriter:
    """Begin the file; ``before``: the name of the one before it, and why it was left."""
    writer = CaptureWriter(
        path,
        plan,
        started_utc_ns=started_utc_ns,
        software=software(),
        session_uuid=session_uuid,
    )
    if before is not None:
        file, why = before
        writer.keep_notes([Note(1, time.time_ns(), GOES_ON_FROM, {"file": file, "why": why})])
    return writer


def no_shared_maps(folder: Path) -> str:
    """One sentence if files of this folder cannot be mapped into shared memory; else empty.

    SQLite's log needs such a map while a capture is written (its index, "-shm").  Some network
    drives, and folders that a virtual machine shares with its host, have none.  Raises
    ``OSError`` if nothing can be written there at all.
    """
    with tempfile.NamedTemporaryFile(dir=folder, prefix=UNBEGUN) as file:
        file.write(bytes(mmap.PAGESIZE))
        file.flush()
        try:
            with mmap.mmap(file.fileno(), mmap.PAGESIZE) as shared:
                shared[0] = 1
                shared.flush()
        except (OSError, ValueError):
            return (
                f"{folder} is on a file system without shared memory maps, which a capture needs "
                "while it is written: choose a local folder"
            )
    return ""


_MOST_NAMES: Final = 1000
_LOGS: Final = ("-wal", "-journal")
"""What SQLite keeps beside a file; left behind without it, they are another capture's."""


def free_names(path: Path) -> Iterator[Path]:
    """The path itself, then with ``-2``, ``-3`` …; without those that are taken when asked for."""
    for number in range(1, _MOST_NAMES + 1):
        name = path if number == 1 else path.with_stem(f"{path.stem}-{number}")
        if not any(name.with_name(name.name + log).exists() for log in ("", *_LOGS)):
            yield name


def software() -> str:
    """Name and version of what writes the file."""
    try:
        return f"sidebeat {importlib.metadata.version('sidebeat')}"
    except importlib.metadata.PackageNotFoundError:
        return "sidebeat (not installed)"
