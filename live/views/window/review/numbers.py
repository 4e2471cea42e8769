"""The session's agreement, with and without what is excluded; as ``sidebeat analyse`` has it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtWidgets import (
    QAbstractItemView,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from analysis.report.words import NONE, WIDE, WIDE_R, count, duration, ends, interval, number
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.plain_text import Label

if TYPE_CHECKING:
    from analysis.session.record import SessionRecord
    from analysis.statistics.estimate import Estimate
    from analysis.statistics.summary import Agreement

COLUMNS: Final = (
    "sensor", "over", "pairs", "bias bpm", "limits bpm", "MAE bpm", "within %", "r", "CCC",
    "RMSE bpm",
)  # fmt: skip
WHOLE: Final = "whole session"


def with_interval(
    estimate: Estimate, digits: int, *, sign: bool = False, wide: float = WIDE
) -> str:
    """Value and, in brackets, its 95 % interval; a dash where there is none."""
    shown = number(estimate.value, digits, sign=sign)
    inside = ends(estimate, digits, sign=sign, wide=wide)
    return f"{shown} ({inside})" if inside else shown


def row_of(label: str, over: str, found: Agreement) -> tuple[str, ...]:
    """The cells of one row under :data:`COLUMNS`."""
    limits = NONE
    if found.loa_low.value is not None and found.loa_high.value is not None:
        both = (found.loa_low.value, found.loa_high.value)
        limits = interval(both, 1, sign=True)
    return (
        label,
        over,
        count(found.pairs),
        with_interval(found.bias, 1, sign=True),
        limits,
        with_interval(found.mae, 1),
        with_interval(found.within, 0),
        with_interval(found.pearson_r, 2, wide=WIDE_R),
        with_interval(found.concordance, 2, wide=WIDE_R),
        with_interval(found.rmse, 1),
    )


def rows_of(record: SessionRecord) -> list[tuple[str, ...]]:
    """Two rows per test sensor where something is excluded for it, else one."""
    rows = []
    for sensor in record.sensors:
        label = sensor.label
        rows.append(row_of(label, WHOLE, sensor.whole))
        if sensor.without_exclusions is not None:
            over = f"without {duration(sensor.excluded_s)}"
            rows.append(row_of(label, over, sensor.without_exclusions))
    return rows


class NumbersPage(QWidget):
    """The table, with the cautions under it."""

    def __init__(self) -> None:
        super().__init__()
        self.table = QTableWidget(0, len(COLUMNS))
        self.table.setHorizontalHeaderLabels(list(COLUMNS))
        self.table.setAccessibleName("Agreement over the session, with and without exclusions")
        name_parts(self.table)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setShowGrid(False)
        self.table.setTabKeyNavigation(False)
        self.table.verticalHeader().hide()
        self.table.horizontalHeader().setHighlightSections(False)
        self.note = Label("Reading the whole capture …")
        self.note.setWordWrap(True)
        self.note.setAccessibleName("State of the numbers")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3)
        layout.addWidget(self.note)
        layout.addWidget(self.table, 1)
        self.record: SessionRecord | None = None

    def show_record(self, record: SessionRecord) -> None:
        """Other numbers."""
        self.record = record
        rows = rows_of(record)
        self.table.setRowCount(len(rows))
        for y, cells in enumerate(rows):
            for x, text in enumerate(cells):
                item = QTableWidgetItem(text)
                if x >= 2:
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
                self.table.setItem(y, x, item)
        self._widen()
        count = len(record.exclusions)
        seconds = max((s.excluded_s for s in record.sensors), default=0)
        stretches = "1 stretch" if count == 1 else f"{count} stretches"
        words = f"{stretches} left out ({duration(seconds)})" if count else "Nothing is left out"
        cautions = list(record.cautions)
        for sensor in record.sensors:
            shown = sensor.counted
            cautions += [f"{sensor.label}: {one}" for one in shown.cautions[:1]]
        self.note.setText(
            f"{words}. Limits: limits of agreement. In brackets: 95 % interval, where one can be "
            f"given honestly. {' '.join(cautions)}"
        )

    def show_problem(self, sentence: str) -> None:
        """Say why there are no numbers."""
        self.note.setText(sentence)

    def apply_theme(self) -> None:
        """Columns that suit the text's size."""
        high = QFontMetricsF(self.font()).height()
        self.table.verticalHeader().setDefaultSectionSize(round(1.35 * high))
        self._widen()

    def _widen(self) -> None:
        metrics = QFontMetricsF(self.font())
        for x, name in enumerate(COLUMNS):
            cells = (self.table.item(y, x) for y in range(self.table.rowCount()))
            texts = [name, *(cell.text() for cell in cells if cell is not None)]
            wide = max(metrics.horizontalAdvance(text) for text in texts)
            self.table.setColumnWidth(x, round(wide + 1.2 * metrics.height()))

    def minimumSizeHint(self) -> QSize:
        """A header and four rows."""
        line = QFontMetricsF(self.font()).height()
        return QSize(480, round(7.5 * line))
