"""The set-up page's keys, themes, names for screen readers, and sizes."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QWidget,
)

from live.views.window.parts.theme import DARK, LIGHT
from live.views.window.setup.keys import STEP_KEYS, Step
from tests.standins.setup_rows import ROWS, complete, labels, own_config_fixture, tick  # noqa: F401
from tests.standins.setups import setup_page
from tests.standins.windows import press


def test_every_key_is_bound(tmp_path):
    """Each key of the help page has its shortcut."""
    with setup_page(tmp_path) as (window, _):
        for key in STEP_KEYS:
            bound = [s.key().toString() for s in window.shortcuts[key.action]]
            assert (key.action, len(bound)) == (key.action, len(key.keys))
            assert all(bound), key.action


def test_theme_and_size_follow_their_keys(tmp_path):
    """Light and dark, larger and back, on both pages."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        press(window, "Ctrl+T")
        assert window.theme is DARK
        assert window.plan_page.body_map.theme is DARK
        press(window, "Ctrl+T")
        assert window.theme is LIGHT
        before = window.font().pointSizeF()
        press(window, "Ctrl+=")
        assert window.font().pointSizeF() > before
        press(window, "Ctrl+0")
        assert window.font().pointSizeF() == before


def test_everything_that_takes_the_keyboard_has_a_name(tmp_path):
    """A screen reader finds words on every control."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        window.plan_page.form.unfold.setChecked(True)
        silent = [
            widget
            for widget in window.findChildren(QWidget)
            if isinstance(widget, QAbstractButton | QLineEdit | QComboBox)
            and widget.focusPolicy() & Qt.FocusPolicy.TabFocus
            and not widget.accessibleName()
            and not (isinstance(widget, QAbstractButton) and widget.text())
            and not isinstance(widget.parent(), QComboBox)
            and widget.objectName() != "qt_spinbox_lineedit"
        ]
        assert silent == []


def cut_texts(window):
    """Texts of labels and buttons that have less room than they need."""
    cut = []
    for widget in window.findChildren(QWidget):
        if not widget.isVisible() or not isinstance(widget, QLabel | QAbstractButton):
            continue
        text = widget.text()
        if not text or widget.width() == 0:
            continue
        if isinstance(widget, QLabel) and widget.wordWrap():
            if widget.height() < widget.heightForWidth(widget.width()):
                cut.append(text)
        elif widget.width() < widget.minimumSizeHint().width():
            cut.append(text)
    return cut


def test_no_text_is_cut_at_any_size(tmp_path):
    """At 100, 125 and 200 % every label, button and field has the room that its text needs."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        for percent, steps in ((100, 0), (125, 2), (200, 3)):
            for _ in range(steps):
                window.do(Step.LARGER)
            for size in ((1280, 720), (1920, 1080)):
                window.resize(*size)
                for _ in range(3):
                    window.frame()
                    QApplication.processEvents()
                assert window.plan_page.widget().width() <= window.plan_page.viewport().width()
                assert (percent, size, cut_texts(window)) == (percent, size, [])
