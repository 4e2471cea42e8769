"""The themes as Qt wants them; the colours themselves are :mod:`live.views.shared.palette`'s."""

from __future__ import annotations

from typing import Final

from PySide6.QtGui import QColor, QPalette

from live.views.shared.palette import (
    DARK,
    LIGHT,
    SEVERITY_SHAPES,
    SEVERITY_WORDS,
    THEMES,
    SensorStyle,
    Theme,
    planned_styles,
    sensor_styles,
    style_of_sign,
)

__all__ = [
    "DARK",
    "FRAMED",
    "LIGHT",
    "SEVERITY_SHAPES",
    "SEVERITY_WORDS",
    "THEMES",
    "SensorStyle",
    "Theme",
    "framed_palette",
    "palette",
    "planned_styles",
    "sensor_styles",
    "style_of_sign",
    "style_sheet",
]


def palette(theme: Theme) -> QPalette:
    """The theme for Qt's own controls."""
    made = QPalette()
    role = QPalette.ColorRole
    for which, colour in (
        (role.Window, theme.panel),
        (role.WindowText, theme.ink),
        (role.Base, theme.ground),
        (role.AlternateBase, theme.panel),
        (role.Text, theme.ink),
        (role.Button, theme.panel),
        (role.ButtonText, theme.ink),
        (role.ToolTipBase, theme.ground),
        (role.ToolTipText, theme.ink),
        (role.PlaceholderText, theme.faint),
        (role.Highlight, theme.focus),
        (role.HighlightedText, theme.ground),
        (role.Mid, theme.rule),
    ):
        made.setColor(which, QColor(colour))
    for which in (role.Text, role.WindowText, role.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, which, QColor(theme.faint))
    return made


FRAMED: Final = ("QComboBox", "QAbstractSpinBox")
"""Controls that Qt's style frames itself, in a colour made of the ground that they lie on."""


def framed_palette(theme: Theme) -> QPalette:
    """The palette of :data:`FRAMED`: Fusion draws their frames in their ground, darker by 1.4."""
    made = palette(theme)
    made.setColor(QPalette.ColorRole.Window, QColor(theme.frame).lighter(140))
    return made


def style_sheet(theme: Theme, points: float) -> str:
    """What the palette cannot say: the text's size in points for every part (a window's font does
    not reach all of them through a style sheet), frames, and a focus ring on every control.
    """
    return f"""
    QWidget {{ font-size: {points:g}pt; }}
    QToolButton, QPushButton {{
        border: 1px solid {theme.frame}; border-radius: 3px; padding: 3px 7px;
        background: {theme.ground}; color: {theme.ink};
    }}
    QToolButton#quiet {{ padding: 0 4px; color: {theme.faint}; }}
    QToolButton#quiet:checked {{ background: {theme.rule}; color: {theme.ink}; }}
    QToolButton:checked {{ background: {theme.ink}; color: {theme.ground}; }}
    QToolButton:hover, QPushButton:hover {{ border-color: {theme.faint}; }}
    QToolButton:focus, QPushButton:focus, QLineEdit:focus, QTableView:focus,
    QScrollArea:focus {{ border: 2px solid {theme.focus}; }}
    QToolButton:disabled, QPushButton:disabled {{ color: {theme.faint}; border-style: dashed; }}
    QLineEdit {{
        placeholder-text-color: {theme.faint};
        border: 1px solid {theme.frame}; border-radius: 3px; padding: 3px 6px;
        background: {theme.ground}; color: {theme.ink};
    }}
    QTableView {{
        border: 1px solid {theme.rule}; background: {theme.ground}; color: {theme.ink};
        gridline-color: {theme.rule};
    }}
    QHeaderView::section {{
        background: {theme.panel}; color: {theme.faint}; border: none;
        border-bottom: 1px solid {theme.rule}; padding: 2px 6px;
    }}
    QScrollArea {{ border: none; }}
    QToolTip {{ color: {theme.ink}; background: {theme.ground}; border: 1px solid {theme.faint}; }}
    """
