"""What of a session can be taken out of the window: a picture, a table of the stretch in sight, its
numbers, and its report.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from io import StringIO
from pathlib import Path

from PySide6.QtCore import QObject, QUrl, Signal
from PySide6.QtGui import QDesktopServices

from live.views.window.parts.frame import Frame
from live.views.window.parts.program import Program
from live.views.window.parts.words import COLUMNS, agreement_row, agreement_rows, value_words
from replay.event import NS_PER_S


def stretch_csv(frame: Frame) -> str:
    """The grid seconds in sight, a row each: session second, UTC, and each sensor's bpm.

    What comes after the cursor of a replay is not in it: the board does not know it yet.
    """
    text = StringIO()
    rows = csv.writer(text, lineterminator="\n")
    numbers = frame.plan.compared
    labels = [f"{frame.plan.sensor(number).label} bpm" for number in numbers]
    rows.writerow(["second", "utc_s", *labels])
    grids = [frame.board.grid(number) for number in numbers]
    first = max(round(frame.start_s), 0)
    last = min(round(frame.end_s), frame.snapshot.second, *(len(grid) - 1 for grid in grids))
    utc_ns, t_ns = frame.snapshot.utc_ns, frame.snapshot.t_ns
    for second in range(first, last + 1):
        utc = "" if not utc_ns else f"{(utc_ns - t_ns) / NS_PER_S + second:.3f}"
        values = [grid[second] for grid in grids]
        rows.writerow([second, utc, *("" if v < 0 else f"{v / 1000:.3f}" for v in values)])
    return text.getvalue()


def numbers_text(frame: Frame) -> str:
    """The cards as a table with tabs, to be pasted into a spreadsheet or a message."""
    lines = ["\t".join(("sensor", "placement", "bpm", "over", *COLUMNS))]
    for number in frame.plan.compared:
        status = frame.status(number)
        start = (status.label, status.placement, value_words(status))
        lines += [
            "\t".join((*start, over, *agreement_row(found)))
            for over, found in agreement_rows(status)
        ] or ["\t".join(start)]
    return "\n".join(lines)


class ReportWriter(QObject):
    """Writes the report of a capture beside it, then opens it.  ``said``: how it went."""

    said = Signal(str)

    def __init__(
        self,
        parent: QObject,
        show: Callable[[QUrl], object] = QDesktopServices.openUrl,
    ) -> None:
        super().__init__(parent)
        self._show = show
        self._page = Path()
        self.program = Program(self)
        self.program.ended.connect(self._ended)

    def write(self, capture: Path) -> None:
        """Begin; nothing happens while one is being written."""
        page = capture.with_suffix(".html")
        if self.program.run(["report", str(capture), "--out", str(page)]):
            self._page = page
            self.said.emit("writing the report …")

    def _ended(self, status: int, told: str) -> None:
        if status:
            self.said.emit(told or "no report was written")
            return
        self.said.emit(f"report: {self._page}")
        self._show(QUrl.fromLocalFile(str(self._page.absolute())))

    def close(self) -> None:
        """A report that is being written is left unfinished."""
        self.program.close()
