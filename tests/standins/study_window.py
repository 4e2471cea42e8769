"""A window on an invented study, and what stands in it."""

from __future__ import annotations

from array import array
from contextlib import contextmanager
from dataclasses import replace

from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication

from analysis.report.study.study_view import ALL
from analysis.study.statistic import SORTABLE
from analysis.study.study import study_of
from live.views.window.parts.application import open_application
from live.views.window.study.window import StudyRequest, StudyWindow
from live.views.window.study.words import Beside
from tests.standins.study_rows import sessions

PAIRS = array("i", [60, 60, 100, 80, 82, 7]).tobytes()
FAR = array("i", [60, 95, 3]).tobytes()
SORREL = [1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8, 15.0]
TANSY = [3.1, 2.9, 3.4, 3.0, 2.7, 3.2, 3.3, 3.0]


def rows():
    """Eight sessions: Sorrel, with a new firmware from the fifth on, and Tansy."""
    made = []
    for n, row in enumerate(sessions({"Sorrel": SORREL, "Tansy": TANSY})):
        sorrel, tansy = row.sensors
        firmware = "7.4" if n < 4 else "8.0"
        worn = (
            replace(sorrel, firmware=firmware, pair_counts=PAIRS, sign=2),
            replace(tansy, pair_counts=FAR, sign=1),
        )
        made.append(replace(row, sensors=worn))
    return made


def sorted_by(study, sort):
    return study_of(study.rows, study.left_out, sort=sort)


@contextmanager
def shown(study=None, *, read=None, view=ALL, beside=None, size=(1280, 720), settled=True):
    open_application()
    study = study_of(rows()) if study is None else study
    opened = []
    request = StudyRequest(
        read=read or (lambda _: study),
        sorted_by=sorted_by,
        sorts=[(name, one.words) for name, one in SORTABLE.items()],
        sort="mae",
        where="captures",
        page=("study", "captures"),
        view=view,
        beside=beside or Beside(),
    )
    pages = []
    window = StudyWindow(
        request, open_session=lambda path: opened.append(path) or True, show=pages.append
    )
    window.opened, window.pages_shown = opened, pages
    window.resize(*size)
    window.show()
    window.activateWindow()
    if settled:
        window.settle()
        painted(window)
    try:
        yield window
    finally:
        assert window.faults.count == 0, window.faults.last
        if window.dialog is not None:
            window.dialog.close()
        window.close()
        window.deleteLater()
        QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def fails(error):
    raise error


def painted(window):
    for _ in range(4):
        QApplication.processEvents()
    return window.grab().toImage()


def lanes(window):
    return window.pictures.plot.canvas.lanes


def there(tmp_path, study):
    """The same study, its sessions' files there."""
    made = []
    for row in study.rows:
        path = tmp_path / row.path.rpartition("/")[2]
        path.touch()
        made.append(replace(row, path=str(path)))
    return study_of(made)
