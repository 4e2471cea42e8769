"""Pictures of a fifth of their width and height, drawn in this process; or none.

For tests that ask which files there are and what is written in them, or for the words of a page:
pictures are the dearest thing in the suite.  In full, and by two processes, they are drawn where
there is one alone (``tests/live/cli/test_lone_sessions.py``).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import islice
from typing import Any

import pytest

from analysis.report import figures
from analysis.report.study import figure_files
from analysis.session.pipeline import Session
from tests.standins.pool_here import pool_here

SHRUNK = 5


@contextmanager
def small_pictures() -> Iterator[None]:
    """While it lasts, files of figures are small."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "pool_of_processes", pool_here)
        patch.setattr(figures, "VIDEO_DPI", _shrunk(figures.VIDEO_DPI))
        patch.setattr(figures, "PRINT_DPI", figures.PRINT_DPI // SHRUNK)
        sheets = (replace(one, dots=_shrunk(one.dots)) for one in figure_files.SHEETS)
        patch.setattr(figure_files, "SHEETS", tuple(sheets))
        yield


@contextmanager
def without_pixels() -> Iterator[None]:
    """While it lasts, files of figures are SVG alone."""
    with small_pictures(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "VIDEO_DPI", {})
        patch.setattr(figures.FigureCanvas, "save_png", lambda *_: None)
        yield


@contextmanager
def without_figures() -> Iterator[None]:
    """While it lasts, pages of sessions have their words and tables alone."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "figures_in_page", _empty)
        yield


@contextmanager
def one_figure() -> Iterator[None]:
    """While it lasts, pages of sessions have the first of their figures alone."""
    drawn = figures.figures_in_page

    def first(session: Session, *asked: Any) -> Iterator[figures.InPage]:
        yield next(drawn(session, *asked))
        yield from islice(_empty(session), 1, None)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figures, "figures_in_page", first)
        yield


def _empty(session: Session, *_: object) -> Iterator[figures.InPage]:
    for kind in figures.figures_of(session):
        yield figures.InPage(kind.name, kind.title, "", "")


def _shrunk(dots: dict[str, int]) -> dict[str, int]:
    return {size: each // SHRUNK for size, each in dots.items()}
