"""The report pages of a study's sessions, over all cores: those that are not there yet."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from concurrent.futures import as_completed
from pathlib import Path
from typing import Final

from analysis.processes import pool_of_processes, usable_cores
from analysis.study.study import Study
from live.cli.report import SessionFigures, write_report
from replay.errors import SidebeatError

AS_THEY_ARE: Final = SessionFigures()


def session_pages(
    study: Study,
    folder: Path,
    *,
    workers: int | None,
    told: Callable[[int, int], None],
    figures: SessionFigures = AS_THEY_ARE,
) -> dict[str, Path]:
    """The page of each session that counts, by its capture's path.

    A page is written where there is none, or where the capture has been noted in since.
    ``figures``: what they show; pages with other figures have other names.  Raises
    :class:`SidebeatError` if one cannot be written.
    """
    captures = [Path(row.path) for one in study.activities for row in one.sessions]
    uuids = {row.path: row.uuid for row in study.rows}
    mark = "" if figures == AS_THEY_ARE else f"_{_digest(figures)}"
    pages = {
        str(path): folder / f"{path.stem}_{uuids[str(path)][:8]}{mark}.html" for path in captures
    }
    lacking = [path for path in captures if _is_lacking(path, pages[str(path)])]
    done = len(captures) - len(lacking)
    told(done, len(captures))
    if not lacking:
        return pages
    processes = min(workers or usable_cores(), len(lacking))
    if processes == 1:  # beginning another takes longer than a page
        for number, path in enumerate(lacking, done + 1):
            _write(path, pages[str(path)], figures)
            told(number, len(captures))
        return pages
    with pool_of_processes(processes) as pool:
        waiting = [pool.submit(_write, path, pages[str(path)], figures) for path in lacking]
        for number, future in enumerate(as_completed(waiting), done + 1):
            future.result()
            told(number, len(captures))
    return pages


def _is_lacking(capture: Path, page: Path) -> bool:
    try:
        return page.stat().st_mtime < capture.stat().st_mtime
    except OSError:
        return True


def _digest(figures: SessionFigures) -> str:
    return hashlib.sha256(repr(figures).encode()).hexdigest()[:8]


def _write(capture: Path, page: Path, figures: SessionFigures) -> None:
    try:
        write_report(capture, page, None, figures.of_what_is_there)
    except SidebeatError as error:  # one that can be sent to another process
        raise SidebeatError(str(error)) from None
