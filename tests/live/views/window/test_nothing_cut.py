"""Every screen of the gallery, small and large, with text of 100 and 200 %: no text is cut without
its whole being in a tip, none lies on another, no part lies on its neighbour or leaves its parent.
"""

from __future__ import annotations

import os

import pytest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractScrollArea,
    QComboBox,
    QLabel,
    QLineEdit,
    QSplitterHandle,
    QTabBar,
    QWidget,
)

from analysis.study import reading
from live.views.window.gallery import TEXTS, arrange, screens
from live.views.window.parts.application import open_application
from live.views.window.parts.chart import Chart
from live.views.window.parts.keys import Action
from live.views.window.parts.plain_text import ElidedLabel, MarkupLabel
from live.views.window.parts.theme import LIGHT
from live.views.window.screenshots import SIZES
from tests.standins.painted import painted_texts
from tests.standins.pool_here import pool_here

DOTS = "…"
SLACK = 2
"""Pixels that rounding may cost."""
EVERY = [(size, percent) for percent in TEXTS for size in SIZES.values()]
LEAST = [(SIZES["1280x720"], 100), (SIZES["1280x720"], 200)]
LOOKED_AT = EVERY if os.environ.get("SIDEBEAT_EVERY_SIZE") else LEAST
"""The least room for words; with the variable set, all three sizes with both texts."""
STUDIED_S = 300.0
"""Seconds of each session of the study: as much says all that the whole does, but for signs."""
PAGES = {"bytes": Action.NOTIFICATIONS, "numbers": Action.NUMBERS, "notes": Action.NOTES}
"""Screens of the gallery that are pages of its replay, and what turns to each."""


def called(widget):
    return f"{type(widget).__name__} {widget.accessibleName() or widget.objectName()!r}"


def seen(window):
    """All parts of a window that are in sight."""
    every = window.findChildren(QWidget)
    return [w for w in every if w.isVisible() and not w.visibleRegion().isEmpty()]


def narrow(widget, text, room=None):
    """What a line of text needs and has, where it has too little; else empty."""
    metrics = widget.fontMetrics()
    wide, high = metrics.horizontalAdvance(text), metrics.height()
    has = widget.size() if room is None else room
    if wide <= has.width() + SLACK and high <= has.height() + SLACK:
        return ""
    return f"{wide} × {high}, has {has.width()} × {has.height()}"


def cut_label(label):
    if not label.pixmap().isNull():
        return ""
    if isinstance(label, ElidedLabel):
        too_narrow = narrow(label, label.text())
        return too_narrow if label.text() not in label.toolTip() else ""
    if label.wordWrap():
        high = label.heightForWidth(label.width())
        return "" if high <= label.height() + SLACK else f"{high} high, has {label.height()}"
    if isinstance(label, MarkupLabel):  # its text is markup, which is not what is drawn
        needed = label.sizeHint()
        fits = needed.width() <= label.width() + SLACK and needed.height() <= label.height() + SLACK
        return "" if fits else f"{needed}, has {label.size()}"
    longest = max(label.text().split("\n"), key=label.fontMetrics().horizontalAdvance)
    return narrow(label, longest)


CUT = {
    QLabel: cut_label,
    QAbstractButton: lambda button: narrow(button, button.text().replace("&", "")),
    QLineEdit: lambda field: narrow(field, field.text() or field.placeholderText()),
    QComboBox: lambda box: "" if box.isEditable() else narrow(box, box.currentText()),
}
"""What is wrong with the text of a control, by its kind."""


def cut_words(widget):
    """Why the text of a control is cut, or empty."""
    return next((cut(widget) for kind, cut in CUT.items() if isinstance(widget, kind)), "")


def inside_of(widget):
    """The rectangle of a part in its parent; ``None`` where the parent scrolls it."""
    parent = widget.parentWidget()
    if parent is None or widget.isWindow():
        return None
    area = parent.parentWidget()
    if isinstance(area, QAbstractScrollArea) and area.viewport() is parent:
        return None
    return widget.geometry()


def misplaced(window):
    """Parts that leave their parents, or lie on a neighbour."""
    found = []
    by_parent = {}
    for widget in seen(window):
        box = inside_of(widget)
        if box is None or isinstance(widget, QSplitterHandle):
            continue
        parent = widget.parentWidget()
        if not parent.rect().adjusted(-SLACK, -SLACK, SLACK, SLACK).contains(box):
            found.append(f"{called(widget)} leaves {called(parent)}: {box} in {parent.rect()}")
        by_parent.setdefault(parent, []).append((widget, box))
    for parent, parts in by_parent.items():
        if isinstance(parent, (QComboBox, QTabBar, QAbstractItemView)):
            continue
        for place, (one, box) in enumerate(parts):
            for other, beside in parts[place + 1 :]:
                shared = box.intersected(beside)
                if shared.width() > SLACK and shared.height() > SLACK:
                    found.append(f"{called(one)} lies on {called(other)}: {shared}")
    return found


def tells(one):
    """Whether a tip of the part that was painted on, or of one that holds it, has the rest."""
    widget = one.on
    start = one.text.rstrip(DOTS).strip()
    while isinstance(widget, QWidget):
        if isinstance(widget, Chart) and start in widget.tip_at(one.box.center()):
            return True
        if isinstance(widget, QAbstractItemView):
            return True  # each row has its tip, which has a test of its own
        if start and start in widget.toolTip() + widget.accessibleDescription():
            return True
        widget = widget.parentWidget()
    return False


def cut_paint(texts):
    """Texts that are painted outside of their room, or on one another."""
    found = []
    for one in texts:
        if one.room is None or one.wraps or not one.text.strip():
            continue
        if one.box.width() > one.room.width() + SLACK or one.box.height() > 1.3 * one.room.height():
            found.append(f"{one.text!r} needs {one.box.size()}, has {one.room.size()}")
        elif one.text.endswith(DOTS) and not tells(one):
            found.append(f"{one.text!r} is cut, and no tip of {called(one.on)} says the rest")
    by_part = {}
    for one in texts:
        if one.text.strip():
            by_part.setdefault(id(one.on), []).append(one)
    for parts in by_part.values():
        for place, one in enumerate(parts):
            for other in parts[place + 1 :]:
                shared = one.box.intersected(other.box)
                if shared.width() > SLACK and shared.height() > 0.35 * one.metrics.height():
                    found.append(f"{one.text!r} lies on {other.text!r}: {shared}")
    return found


@pytest.fixture(autouse=True)
def read_here(monkeypatch):
    """The study is read in this process: two others would read the program first."""
    monkeypatch.setattr(reading, "pool_of_processes", pool_here)


def faults_of(window):
    """At the sizes of the window and of the text that are looked at."""
    found = []
    for size, percent in LOOKED_AT:
        arrange(window, size, percent)
        with painted_texts() as texts:
            window.grab()
        here = [f"{called(w)}: {why}" for w in seen(window) if (why := cut_words(w))]
        here += misplaced(window) + cut_paint(texts)
        found += [f"{size[0]} × {size[1]}, {percent} %: {one}" for one in here]
    return found


@pytest.mark.timeout(400)
@pytest.mark.parametrize("name", sorted({*screens()} - {*PAGES}))
def test_no_text_is_cut_and_no_part_lies_on_another(name):
    """Neither on a screen as it opens nor, in a replay, on any of its pages."""
    open_application()
    with screens(STUDIED_S)[name](LIGHT) as window:
        found = faults_of(window)
        for page, action in PAGES.items() if name == "replay" else ():
            window.do(action)
            found += [f"{page}, {one}" for one in faults_of(window)]
    assert found == [], "\n".join(found)
