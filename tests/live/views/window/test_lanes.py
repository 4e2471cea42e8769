"""The lanes of warnings: what was known when, while recording and in a replay alike."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QImage, QPainter

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.views.window.parts.canvas import Area
from live.views.window.parts.theme import LIGHT
from tests.standins.windows import session, shown

SECOND_PX = 4
SINCE_S, KNOWN_S, END_S = 40, 60, 80
WIDTH, HEIGHT = 100 * SECOND_PX, 150
LATE_FOUND = SensorWarning(
    number=1,
    kind=WarningKind.RELAY,
    sensor=2,
    severity=Severity.TEST_FAULT,
    since_s=SINCE_S,
    start_s=KNOWN_S,
    end_s=END_S,
    cause="c",
    advice="a",
)


@pytest.fixture(name="drawn")
def drawn_fixture():
    """Draws the lanes at an instant with these warnings; ``whole``: of a recorded session."""
    with shown(session(100)) as (window, _):
        lanes = window.workbench.chart.lanes
        frame = window.frame_of(window.model.snapshot())

        def draw(now_s: float, warnings: list[SensorWarning], *, whole: bool) -> QImage:
            image = QImage(WIDTH, HEIGHT, QImage.Format.Format_RGB32)
            image.fill(QColor(LIGHT.ground))
            painter = QPainter(image)
            area = Area(QRectF(0, 0, WIDTH, HEIGHT), SECOND_PX, 0.0, 1.0, 0.0)
            at = replace(
                frame,
                now_s=now_s,
                start_s=0.0,
                end_s=100.0,
                later=warnings,
                whole=frame.timeline if whole else None,
            )
            lanes.draw(painter, area, at)
            painter.end()
            return image

        yield draw


def stretch(image: QImage, first_s: float, last_s: float) -> QImage:
    return image.copy(
        round(first_s * SECOND_PX), 0, round((last_s - first_s) * SECOND_PX), image.height()
    )


def dark(image: QImage) -> int:
    """Pixels in the full colour of a warning's line."""
    colour = QColor(LIGHT.severity(Severity.TEST_FAULT))
    return sum(
        image.pixelColor(x, y) == colour
        for x in range(image.width())
        for y in range(image.height())
    )


def test_before_it_was_known_a_warning_is_a_dashed_line(drawn):
    """Full from when it was raised, no wash and gaps in the line before, nothing before that."""
    image = drawn(95.0, [LATE_FOUND], whole=False)
    bare = drawn(95.0, [], whole=False)
    assert stretch(image, 0, SINCE_S) == stretch(bare, 0, SINCE_S)
    before, full = stretch(image, SINCE_S, KNOWN_S), stretch(image, KNOWN_S + 5, END_S)
    assert 0.4 < dark(before) / before.width() < 0.9
    assert dark(full) / full.width() >= 1
    without = stretch(bare, SINCE_S, KNOWN_S)
    changed = sum(
        before.pixel(x, y) != without.pixel(x, y)
        for x in range(before.width())
        for y in range(before.height())
    )
    assert changed == dark(before)


def test_a_replay_knows_no_more_than_the_board_did(drawn):
    """Up to now its lanes are those of the session live, before a warning was known and after."""
    for now_s in (30.0, 50.0, 59.0, 60.0, 70.0, 90.0):
        known = [LATE_FOUND] if now_s >= KNOWN_S else []
        live = drawn(now_s, [replace(one, end_s=None) for one in known], whole=False)
        replayed = drawn(now_s, [LATE_FOUND], whole=True)
        if now_s >= END_S:
            live = drawn(now_s, known, whole=False)
        seen = min(now_s, KNOWN_S)  # its name needs room, which differs
        assert stretch(live, 0, seen) == stretch(replayed, 0, seen), now_s
        if now_s < KNOWN_S:
            bare = drawn(now_s, [], whole=True)
            assert stretch(replayed, 0, now_s) == stretch(bare, 0, now_s)
            assert stretch(replayed, now_s, 100) != stretch(bare, now_s, 100)
