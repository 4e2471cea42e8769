"""Pictures of a fifth of their width and height, drawn in this process.

For tests that ask which files there are and what is written in them: pixels are the dearest thing
in the suite.  In full, and by two processes, the command's own test has them drawn
(``tests/live/cli/test_report_command.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest

from analysis.report import figures
from analysis.report.study import figure_files

SHRUNK = 5


class _Here:
    """A pool without processes: what is given to it is done at once."""

    def submit(self, work: Callable[..., Any], /, *arguments: Any) -> Future[Any]:
        """The result of the work, or what it failed with."""
        done: Future[Any] = Future()
        try:
            done.set_result(work(*arguments))
        except Exception as error:  # whoever asks for the result is to have it
            done.set_exception(error)
        return done


@contextmanager
def _pool(workers: int) -> Iterator[_Here]:
    yield _Here()


@contextmanager
def small_pictures() -> Iterator[None]:
    """While it lasts, files of figures are small."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "pool_of_processes", _pool)
        patch.setattr(figures, "VIDEO_DPI", _shrunk(figures.VIDEO_DPI))
        patch.setattr(figures, "PRINT_DPI", figures.PRINT_DPI // SHRUNK)
        sheets = (replace(one, dots=_shrunk(one.dots)) for one in figure_files.SHEETS)
        patch.setattr(figure_files, "SHEETS", tuple(sheets))
        yield


def _shrunk(dots: dict[str, int]) -> dict[str, int]:
    return {size: each // SHRUNK for size, each in dots.items()}
