"""Captures to rows, over all cores: each session's record is computed once and kept.

The records go through the cache of :mod:`analysis.session.cache`, written by the processes as they
come to be, so that an interrupted reading loses nothing that was done, and the next one takes up
where it ended.  A file that cannot be read is one line, never the end of the study.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.study.row import SessionRow, row_of
from replay.errors import SidebeatError

_LOG: Final = logging.getLogger(__name__)

_SQLITE: Final = b"SQLite format 3\x00"
_BESIDE: Final = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside an open file."""
_WRITTEN_BESIDE: Final = frozenset({".toml", ".html"})
"""Endings of what is written beside a capture under its name."""

FEWEST_FOR_PROCESSES: Final = 3
"""Sessions to compute below which starting processes takes longer than it saves."""

Told = Callable[[int, int], None]
"""Called with how many of how many files are done."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A file that is no session of this study, and why: one sentence."""

    path: str
    reason: str


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read: one row per session, in order of their paths, and the files left out."""

    rows: tuple[SessionRow, ...]
    left_out: tuple[LeftOut, ...]


def files_of(places: Iterable[Path]) -> list[Path]:
    """All files of these folders, and of the folders in them, in order; files stand for themselves.

    Hidden ones are passed over, and what lies beside a capture under its name: its plan, its page,
    what SQLite keeps beside an open file.  Raises :class:`SidebeatError` for a place that does not
    exist.
    """
    found: dict[Path, None] = {}
    for place in places:
        if place.is_dir():
            found.update(dict.fromkeys(sorted(_inside(place))))
        elif place.exists():
            found[place] = None
        else:
            raise SidebeatError(f"{place}: there is no such folder or file")
    return list(found)


def _inside(folder: Path) -> Iterator[Path]:
    for path in folder.rglob("*"):
        parts = path.relative_to(folder).parts
        hidden = any(part.startswith(".") or part == "__pycache__" for part in parts)
        if hidden or not path.is_file() or path.name.endswith(_BESIDE):
            continue
        if path.suffix in _WRITTEN_BESIDE and path.with_suffix(".sqlite").exists():
            continue
        yield path


def read_rows(
    files: Sequence[Path], *, workers: int | None = None, told: Told | None = None
) -> Reading:
    """Read these files.  ``workers``: processes, by default one for each core.

    Raises ``KeyboardInterrupt`` when interrupted, with the records done so far kept, and
    :class:`SidebeatError` if a reading process was killed.
    """
    results: dict[Path, SessionRow | str] = {}
    for path, result in _results(files, workers or usable_cores()):
        results[path] = result
        if told is not None:
            told(len(results), len(files))
    rows = [result for path in files if isinstance(result := results[path], SessionRow)]
    left = [
        LeftOut(str(path), result) for path in files if isinstance(result := results[path], str)
    ]
    return Reading(tuple(rows), tuple(left))


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _results(files: Sequence[Path], workers: int) -> Iterator[tuple[Path, SessionRow | str]]:
    """What is kept is read here, in a few milliseconds each; processes are started for the rest."""
    rest = []
    for path in files:
        result = read_row(path, kept_only=True)
        if result is None:
            rest.append(path)
        else:
            yield path, result
    if min(workers, len(rest)) < 2 or len(rest) < FEWEST_FOR_PROCESSES:
        for path in rest:
            yield path, read_row(path) or ""
        return
    # Spawned everywhere alike: a forked one would inherit threads and open files.
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(
        min(workers, len(rest)), context, initializer=_leave_interrupts_to_the_parent
    )
    try:
        waiting = {pool.submit(read_row, path): path for path in rest}
        for future in as_completed(waiting):
            yield waiting[future], future.result() or ""
    except BrokenProcessPool:
        raise SidebeatError(
            "a process that read captures was ended from outside; what was done is kept, and the "
            "next run takes it up"
        ) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def read_row(path: Path, *, kept_only: bool = False) -> SessionRow | str | None:
    """The row of a capture, or why there is none, in one sentence.

    ``kept_only``: from the cache alone, ``None`` where its record would have to be computed.
    """
    from analysis.session.cache import RecordCache  # noqa: PLC0415 - only where sessions are read
    from analysis.session.pipeline import record_of  # noqa: PLC0415
    from replay.capture import Capture  # noqa: PLC0415

    try:
        if problem := _no_database(path):
            return problem
        with Capture.open(path) as capture:
            record = RecordCache(capture).load() if kept_only else record_of(capture)
        return None if record is None else row_of(record, str(path))
    except SidebeatError as error:
        return str(error)
    except OSError as error:
        return f"{path}: cannot be read: {error.strerror}"
    except Exception as error:  # one strange file must not end a study of five hundred
        _LOG.debug("%s", path, exc_info=True)
        return f"{path}: cannot be read: {type(error).__name__}: {error}"


def _no_database(path: Path) -> str:
    """Why a file cannot be a capture, by its first bytes; empty if it may be one."""
    with path.open("rb") as stream:
        head = stream.read(len(_SQLITE))
    if not head:
        return f"{path}: is empty"
    return "" if head == _SQLITE else f"{path}: is no capture"
