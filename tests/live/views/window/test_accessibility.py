"""What a reader of screens is told: every control has a name, and so have its inner parts."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible
from PySide6.QtWidgets import QApplication, QWidget

from analysis.session.compare import read_comparison
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from live.views.window.parts.application import open_application
from live.views.window.parts.keys import Action
from live.views.window.review.compare_window import CompareWindow
from live.views.window.setup.keys import Step
from live.views.window.setup.window import SetupWindow
from tests.standins.feeds import written
from tests.standins.replayed import LENGTH_S, events, replayed, settle
from tests.standins.windows import session, shown

ROLE = QAccessible.Role
ASKED = {
    ROLE.Button, ROLE.ButtonMenu, ROLE.CheckBox, ROLE.ComboBox, ROLE.EditableText, ROLE.List,
    ROLE.RadioButton, ROLE.Slider, ROLE.SpinBox, ROLE.Table, ROLE.Tree,
}  # fmt: skip


def nameless(root: QWidget) -> list[str]:
    """Controls, and whatever can take the keyboard, that a reader of screens has no name for."""
    found = []
    for part in [root, *root.findChildren(QWidget)]:
        told = QAccessible.queryAccessibleInterface(part)
        if told is None:
            continue
        asked = told.role() in ASKED or part.focusPolicy() != Qt.FocusPolicy.NoFocus
        if asked and not told.text(QAccessible.Text.Name):
            found.append(f"{type(part).__name__} in {type(part.parent()).__name__}")
    return found


class Silent:
    """A helper process that says nothing."""

    status = 0

    def poll(self) -> list[dict[str, object]]:
        return []

    def say(self, facts: dict[str, object]) -> None:
        pass

    def let_go(self) -> None:
        pass

    def end(self) -> None:
        pass


@pytest.fixture
def path(tmp_path):
    return written(tmp_path / "c.sqlite", events(), end_s=LENGTH_S)


def test_a_nameless_control_is_found():
    """The walk would notice a control without a name."""
    from PySide6.QtWidgets import QComboBox, QToolButton

    open_application()
    root = QWidget()
    QToolButton(root)
    choice = QComboBox(root)
    choice.setAccessibleName("named")
    choice.view()
    assert "QToolButton in QWidget" in nameless(root)
    assert any(found.startswith("QListView") for found in nameless(root))


def test_the_live_window_and_its_help():
    """While recording."""
    with shown(session(30)) as (window, _):
        assert nameless(window) == []
        window.do(Action.HELP)
        assert nameless(window.dialog) == []


def test_a_replay_and_what_it_asks(path):
    """On every page of a replay, and in each question."""
    with replayed(path) as window:
        for page in (Action.NOTIFICATIONS, Action.NUMBERS, Action.NOTES):
            window.do(page)
            settle(window)
        assert nameless(window) == []
        window.seen.selection = (10.0, 30.0)
        for action in (Action.EXCLUDE, Action.MARK_EFFORT, Action.RELABEL):
            window.do(action)
            dialog = window.review.annotations.dialog
            assert dialog.isVisible()
            assert (action, nameless(dialog)) == (action, [])
            dialog.close()
            settle(window)


def test_two_captures_and_the_set_up_page(path, tmp_path, monkeypatch):
    """In the other two windows."""
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path))
    open_application()
    both = CompareWindow(read_comparison(path, path))
    both.show()
    QApplication.processEvents()
    assert nameless(both) == []
    both.close()
    setup = SetupWindow(None, listen=Silent)
    assert nameless(setup) == []
    setup.do(Step.HELP)
    assert nameless(setup.dialog) == []
    setup.dialog.close()
    setup.leave()


def tab_order(window: QWidget) -> list[str]:
    """Names of what the tab key goes to, in turn, from the window's first control on."""
    names, part = [], window.nextInFocusChain()
    while part is not window:
        if part.focusPolicy() & Qt.FocusPolicy.TabFocus and part.isVisible() and part.isEnabled():
            names.append(part.accessibleName())
        part = part.nextInFocusChain()
    return names


def test_tab_goes_in_the_order_of_work():
    """While recording: what is looked at, then the marker, then the time panels, the warnings, the
    plane and the cards from the reference on; every one has a name of its own.
    """
    with shown(session(30)) as (window, _):
        names = tab_order(window)
        wanted = [
            "Follow the last minute", "Text of the marker; Enter sets it",
            "Heart rate, difference and warnings over time",
            "Warnings", window.workbench.plane.accessibleName(), "Card of Yarrow",
            "Card of Sorrel",
        ]  # fmt: skip
        places = [names.index(name) for name in wanted]
        assert places == sorted(places), names
        assert all(names)


def test_charts_say_what_they_show():
    """Each chart has a name and, for who cannot see it, its newest facts in words."""
    with shown(session(60)) as (window, _):
        bench = window.workbench
        for part in (bench.chart, bench.plane, bench.strip, *bench.cards.cards):
            told = QAccessible.queryAccessibleInterface(part)
            assert told.text(QAccessible.Text.Name)
        assert "bpm" in bench.cards.cards[1].accessibleDescription()
        assert "0:00 to" in bench.strip.accessibleDescription()
        assert bench.plane.accessibleDescription()
