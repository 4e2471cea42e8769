"""A picture of the study page: the invented study, made and read anew."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from PySide6.QtGui import QPixmap
from PySide6.QtWidgets import QApplication

from analysis.study import read_study
from analysis.study.statistic import SORTABLE
from analysis.study.study import Study, study_of
from live.simulated.study_recipe import STUDY
from live.views.window.parts.application import open_application
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.study.keys import Ask
from live.views.window.study.window import StudyRequest, StudyWindow
from replay.errors import SidebeatError


def invented_study(longest_s: float = math.inf) -> Study:
    """The study of the recipe, as it would be read from its captures.  ``longest_s``: from the
    first seconds of each session alone.
    """
    with tempfile.TemporaryDirectory() as folder:
        for recipe in STUDY:
            recipe.write(Path(folder), longest_s)
        return read_study(folder)


@contextmanager
def study_window(
    study: Study, theme: Theme = LIGHT, *, asks: Sequence[Ask] = ()
) -> Iterator[StudyWindow]:
    """The window with a study, closed behind it.  ``asks``: what the user does.

    Raises :class:`~replay.errors.SidebeatError` behind it if a part of it could not be drawn.
    """
    open_application()
    request = StudyRequest(
        read=lambda _: study,
        sorted_by=lambda old, sort: study_of(old.rows, old.left_out, sort=sort),
        sorts=[(name, one.words) for name, one in SORTABLE.items()],
        sort="mae",
        where="demo_study",
        page=("study", "demo_study"),
    )
    window = StudyWindow(request, theme)
    window.show()
    window.settle()
    for ask in asks:
        window.do(ask)
    try:
        yield window
    finally:
        window.close()
    if window.faults.count:
        raise SidebeatError(f"the picture is not whole: {window.faults.last}")


def picture_of(
    study: Study,
    size: tuple[int, int] = (1280, 720),
    theme: Theme = LIGHT,
    *,
    asks: Sequence[Ask] = (),
) -> QPixmap:
    """A picture of :func:`study_window`."""
    with study_window(study, theme, asks=asks) as window:
        window.resize(*size)
        for _ in range(4):  # what was laid out anew is painted in the next round
            QApplication.processEvents()
        return window.grab()
