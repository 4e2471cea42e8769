"""Names for the parts that Qt's own controls are made of, so that a reader of screens knows them.

The line and the list of a choice, the line of a number and the corner of a table are controls of
their own to it, and nameless.
"""

from __future__ import annotations

from PySide6.QtWidgets import QAbstractButton, QAbstractSpinBox, QComboBox, QTableView, QWidget


def name_parts(control: QWidget) -> None:
    """Give the parts of a choice, number or table the name that the control itself has."""
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
