"""What a reader of screens is told beyond the text on the screen."""

from __future__ import annotations

from PySide6.QtWidgets import QAbstractButton, QAbstractSpinBox, QComboBox, QTableView, QWidget

from analysis.board.snapshot import SensorStatus
from live.views.window.parts.words import (
    COLUMNS,
    WHOLE,
    agreement_row,
    agreement_rows,
    facts,
    subtitle,
    verdict,
)


def name_parts(control: QWidget) -> None:
    """Give the parts of a choice, number or table the name that the control itself has.

    The line and the list of a choice, the line of a number and the corner of a table are controls
    of their own to a reader of screens, and nameless.
    """
    name = control.accessibleName()
    if isinstance(control, QComboBox):
        control.view().setAccessibleName(f"{name}: choices")
        if (line := control.lineEdit()) is not None:
            line.setAccessibleName(name)
    elif isinstance(control, QAbstractSpinBox):
        control.lineEdit().setAccessibleName(name)
    elif isinstance(control, QTableView):
        for corner in control.findChildren(QAbstractButton):
            corner.setAccessibleName(f"{name}: select all")


def accessible_text(status: SensorStatus, halted: str = "", *, is_stale: bool = False) -> str:
    """A card as a screen reader speaks it; as :func:`facts`."""
    bpm = "no value" if status.shown_bpm is None else f"{status.shown_bpm:.0f} bpm"
    parts = [
        f"{status.label}, {subtitle(status)}: {bpm} {verdict(status)}".rstrip(),
        *facts(status, halted, is_stale=is_stale),
    ]
    for name, found in agreement_rows(status):
        if name in ("session", WHOLE) and found.pairs:
            values = zip(COLUMNS, agreement_row(found), strict=True)
            parts.append(f"{name}: " + ", ".join(f"{c} {v}" for c, v in values))
    return ". ".join(parts)
