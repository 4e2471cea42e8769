"""Contrast as it is painted: of frames and placeholders, whoever draws them (WCAG 2.1, 1.4.3 and
1.4.11).
"""

from __future__ import annotations

import pytest
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLineEdit,
    QPushButton,
    QToolButton,
    QWidget,
)

from analysis.report.palette import contrast
from live.views.window.parts.theme import DARK, LIGHT
from live.views.window.setup.pictures import setup_window
from tests.standins.windows import session, shown

FRAMED = (QComboBox, QAbstractSpinBox, QLineEdit, QPushButton, QToolButton)
HOLDS = (QComboBox, QAbstractSpinBox)


def framed(window):
    """Controls that can be used and stand alone, not parts of another."""
    return [
        one
        for one in window.findChildren(QWidget)
        if isinstance(one, FRAMED)
        and one.isVisible()
        and one.isEnabled()
        and not one.hasFocus()
        and not isinstance(one.parentWidget(), HOLDS)
    ]


def frame_contrast(control, theme):
    """Of the left edge at half the height, against the ground."""
    picture = control.grab().toImage()
    middle = picture.height() // 2
    return max(contrast(QColor(picture.pixel(x, middle)).name(), theme.ground) for x in range(2))


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
def test_what_can_be_operated_has_a_frame_that_is_seen(theme):
    """Fields, lists, numbers and buttons keep 3 : 1, those that Qt's own style frames too."""
    with setup_window(theme) as window:
        window.resize(1280, 720)
        QApplication.processEvents()
        found = {type(one).__mro__[0].__name__ for one in framed(window)}
        assert {"QComboBox", "QLineEdit", "QToolButton"} <= found
        low = {
            (one.accessibleName(), round(ratio, 2))
            for one in framed(window)
            if (ratio := frame_contrast(one, theme)) < 3.0
        }
        assert low == set()
    with shown(session(30), theme=theme) as (window, _):
        low = {
            (one.accessibleName(), round(ratio, 2))
            for one in framed(window)
            if (ratio := frame_contrast(one, theme)) < 3.0
        }
        assert low == set()


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
def test_a_placeholder_can_be_read(theme):
    """What stands in an empty field keeps 4.5 : 1, as any text."""
    with shown(session(30), theme=theme) as (window, _):
        field = window.header.marker
        assert field.placeholderText()
        assert not field.text()
        picture = field.grab().toImage()
        inside = [
            contrast(QColor(picture.pixel(x, y)).name(), theme.ground)
            for x in range(6, picture.width() - 6)
            for y in range(5, picture.height() - 5)
        ]
        assert max(inside) >= 4.5
