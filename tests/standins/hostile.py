"""A session whose every text tries to be more than a text, and what windows make of it."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

from PySide6.QtCore import QAbstractListModel, QModelIndex, Qt
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import QAbstractItemView, QLabel, QWidget

from live.views.window.parts.plain_text import MarkupLabel
from replay.capture import Capture, CaptureWriter
from replay.capture.notes import EXCLUSION, MARKER
from replay.event import ADVICE, FIRMWARE, MODEL, NS_PER_S, Event
from replay.event import MARKER as MARKER_EVENT
from replay.plan import Plan, PlannedSensor
from replay.text import is_printable
from tests.standins.feeds import two_sensors

LEFT, RIGHT = "Sorrel [left]", "Sorrel [right]"
MARKUP = "<img src='seen.png'><b>[/x] :heart: $a_b$ {{7*7}}&<s>"
"""As long as a label may be, with a name before it."""
STEERING = "\x1b[2J\x1b]0;title\x07\x9b31m\u202eback\u2066\u200b"
FOUND = "<img src='seen.png'> x & y"
"""The activity, which stands at the top of every page."""
_BAIT = QColor(254, 1, 253)
"""A colour that no theme has."""
LENGTH_S = 240

PLAN = Plan(
    wearer="W1",
    activity=FOUND,
    sensors=(
        PlannedSensor(label=f"Yarrow {MARKUP}", role="reference", placement="chest", name="Y"),
        PlannedSensor(label=LEFT, role="test", placement="[/left] wrist", name="S"),
        PlannedSensor(label=RIGHT, role="test", placement="<i>right</i> wrist", name="T"),
    ),
    details={"skin tone": MARKUP},
)


def hostile_events() -> list[Event]:
    """Heart rates of three sensors, with hostile names, advice and a marker."""
    outside = (MARKUP + STEERING).encode("utf-8", "replace")
    events = list(two_sensors(LENGTH_S))
    events += [Event(e.t_ns + 1, 3, e.channel, e.payload) for e in events if e.sensor == 2]
    for sensor in (1, 2, 3):
        events += [
            Event(1, sensor, FIRMWARE, outside),
            Event(2, sensor, MODEL, outside),
            Event(200 * NS_PER_S, sensor, ADVICE, outside),
        ]
    events.append(Event(40 * NS_PER_S, 0, MARKER_EVENT, outside))
    return sorted(events, key=lambda event: event.t_ns)


def hostile_capture(folder: Path) -> Path:
    """A capture with hostile texts wherever it can hold a text; the file's name is one too."""
    path = folder / "[red]x\x1b[31m &amp;.sqlite"
    writer = CaptureWriter(path, PLAN, started_utc_ns=10**18, software=MARKUP + STEERING)
    for event in hostile_events():
        writer.append(event)
    writer.close(t_ns=LENGTH_S * NS_PER_S, reason=MARKUP + STEERING)
    with Capture.open(path) as capture:
        capture.add_note(
            EXCLUSION, from_ns=60 * NS_PER_S, to_ns=70 * NS_PER_S, sensor=0,
            reason=MARKUP + STEERING,
        )  # fmt: skip
        capture.add_note(MARKER, t_ns=90 * NS_PER_S, text=MARKUP + STEERING)
    return path


def assert_plain(text: str) -> None:
    """No line of it holds a sign that steers or hides."""
    assert [line for line in text.split("\n") if not is_printable(line)] == []


class Elements(HTMLParser):
    """Elements, text and what would be loaded of a piece of HTML or SVG."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""
        self.loads: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        for name, value in attrs:
            if name in LOADING or (name == "href" and tag != "a"):
                self.loads.append(value or "")
            self._look_for_url(value or "")

    def handle_data(self, data):
        self.text += data
        if self.cdata_elem == "style":
            self._look_for_url(data)

    def _look_for_url(self, text):
        self.loads += re.findall(r"(?:url\(|@import)\s*['\"]?([^)'\";]*)", text)


LOADING = {"src", "srcset", "data", "poster", "background", "action", "xlink:href"}


def items_of(part: QWidget, role: Qt.ItemDataRole) -> list[str]:
    """What the items of a list or a table say."""
    model = part.model() if isinstance(part, QAbstractItemView) else None
    if model is None:
        return []
    columns = range(1 if isinstance(model, QAbstractListModel) else model.columnCount())
    rows = range(model.rowCount(QModelIndex()))
    return [str(model.index(r, c).data(role) or "") for r in rows for c in columns]


def texts_of(root: QWidget) -> list[str]:
    """Every text that a window shows in labels, buttons, titles, lists and tables."""
    found = []
    for part in [root, *root.findChildren(QWidget)]:
        found += [part.windowTitle(), part.accessibleName(), part.accessibleDescription()]
        for name in ("text", "placeholderText", "title"):
            method = getattr(part, name, None)
            if callable(method) and isinstance(text := method(), str):
                found.append(text)
        found += items_of(part, Qt.ItemDataRole.DisplayRole)
    return found


def tips_of(root: QWidget) -> list[str]:
    """Every tool tip of widgets and of items."""
    found = []
    for part in [root, *root.findChildren(QWidget)]:
        found += [part.toolTip(), *items_of(part, Qt.ItemDataRole.ToolTipRole)]
    return found


def lay_bait(folder: Path) -> None:
    """The picture that the texts name, for a window whose working folder this is."""
    picture = QImage(64, 64, QImage.Format.Format_RGB32)
    picture.fill(_BAIT)
    assert picture.save(str(folder / "seen.png"))


def shows_bait(part: QWidget) -> bool:
    """Whether the picture has been loaded and is to be seen in a widget."""
    picture = part.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    return _BAIT.rgb().to_bytes(4, "little") * 8 in bytes(picture.constBits())


def assert_shown_as_text(window: QWidget) -> None:
    """Every text of a window is printable and no markup, and no picture is loaded for one."""
    for label in window.findChildren(QLabel):
        if isinstance(label, MarkupLabel):
            assert {"img", "script"} & Elements(label.text()).tags == set()
        else:
            assert label.textFormat() == Qt.TextFormat.PlainText, label.text()
    for text in texts_of(window):
        assert_plain(text)
    for said in tips_of(window):
        assert_plain(said)
        assert Elements(said).tags <= {"p"}
        bubble = QLabel(said)  # which guesses what is markup, as Qt's own tool tip does
        assert not shows_bait(bubble)
    assert not shows_bait(window)
