"""The report pages of a study's sessions, over all cores: those that are not there yet."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from analysis.study.reading import usable_cores
from analysis.study.study import Study
from replay.errors import SidebeatError


def session_pages(
    study: Study, folder: Path, *, workers: int | None, told: Callable[[int, int], None]
) -> dict[str, Path]:
    """The page of each session that counts, by its capture's path.

    A page is written where there is none, or where the capture has been noted in since.  Raises
    :class:`SidebeatError` if one cannot be written.
    """
    captures = [Path(row.path) for one in study.activities for row in one.sessions]
    uuids = {row.path: row.uuid for row in study.rows}
    pages = {str(path): folder / f"{path.stem}_{uuids[str(path)][:8]}.html" for path in captures}
    lacking = [path for path in captures if _is_lacking(path, pages[str(path)])]
    done = len(captures) - len(lacking)
    told(done, len(captures))
    if not lacking:
        return pages
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers or usable_cores(), len(lacking)), context) as pool:
        waiting = [pool.submit(_write, path, pages[str(path)]) for path in lacking]
        try:
            for number, future in enumerate(as_completed(waiting), done + 1):
                future.result()
                told(number, len(captures))
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return pages


def _is_lacking(capture: Path, page: Path) -> bool:
    try:
        return page.stat().st_mtime < capture.stat().st_mtime
    except OSError:
        return True


def _write(capture: Path, page: Path) -> None:
    from live.cli.report import write_report  # noqa: PLC0415 - where it runs

    try:
        write_report(capture, page, None)
    except SidebeatError as error:  # one that can be sent to another process
        raise SidebeatError(str(error)) from None
