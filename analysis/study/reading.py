"""Captures to rows, over all cores: each session's record is computed once and kept.

The records go through the cache of :mod:`analysis.session.cache`, and their rows through that of
:mod:`analysis.study.row_cache`, written by the processes as they come to be, so that an interrupted
reading loses nothing that was done, and the next one takes up where it ended.  A file that cannot
be read is one line, never the end of the study.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.processes import pool_of_processes, usable_cores
from analysis.study.row import SessionRow
from analysis.study.row_reading import read_row

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


def read_rows(
    files: Sequence[Path],
    *,
    workers: int | None = None,
    scheduler: str = "",
    told: Told | None = None,
) -> Reading:
    """Read these files.  ``workers``: processes, by default one for each core; ``scheduler``:
    address of a Dask cluster that computes instead (:mod:`analysis.study.cluster`).

    Raises ``KeyboardInterrupt`` when interrupted, with the records done so far kept, and
    :class:`~replay.errors.SidebeatError` if a reading process was killed or the cluster is of no
    use.
    """
    results: dict[Path, SessionRow | str] = {}
    for path, result in _results(files, workers or usable_cores(), scheduler):
        results[path] = result
        if told is not None:
            told(len(results), len(files))
    rows = [result for path in files if isinstance(result := results[path], SessionRow)]
    left = [
        LeftOut(str(path), result) for path in files if isinstance(result := results[path], str)
    ]
    return Reading(tuple(rows), tuple(left))


def _results(
    files: Sequence[Path], workers: int, scheduler: str
) -> Iterator[tuple[Path, SessionRow | str]]:
    """What is kept is read here, in a few milliseconds each; processes are started for the rest."""
    rest = []
    for path in files:
        result = read_row(path, kept_only=True)
        if result is None:
            rest.append(path)
        else:
            yield path, result
    if scheduler:
        from analysis.study.cluster import read_over_cluster  # noqa: PLC0415 - an extra

        yield from read_over_cluster(rest, scheduler)
        return
    if min(workers, len(rest)) < 2 or len(rest) < FEWEST_FOR_PROCESSES:
        for path in rest:
            yield path, read_row(path) or ""
        return
    with pool_of_processes(min(workers, len(rest))) as pool:
        waiting = {pool.submit(read_row, path): path for path in rest}
        for future in as_completed(waiting):
            yield waiting[future], future.result() or ""
