"""What stands in the window's pictures, made from a stream of events."""

from __future__ import annotations

import logging
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pyqtgraph as pg
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPixmap
from PySide6.QtWidgets import QApplication, QLabel, QWidget

from analysis.board.rules.levels import LowBattery
from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.protocol.feed import Ended, Rewound, Tick
from live.views.window.live.main_window import MainWindow
from live.views.window.live.warnings_list import WARNING
from live.views.window.parts.application import open_application
from live.views.window.parts.canvas import Area, spread
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.keys import Action
from live.views.window.parts.lanes import stacked
from live.views.window.parts.marks import mark_points
from live.views.window.parts.shapes import SENSOR_SHAPES
from live.views.window.parts.theme import (
    DARK,
    LIGHT,
    SEVERITY_SHAPES,
    SEVERITY_WORDS,
    sensor_styles,
)
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.plan import PlannedSensor
from replay.signs import COLOURS, SHAPES, SIGNS
from tests.standins.feeds import PLAN, beat
from tests.standins.painted import painted_texts
from tests.standins.windows import PushedFeed, picture, session, shown


def pieces(drawn) -> list[tuple[float, float]]:
    x, _, joined = drawn.line()
    return [(float(x[i]), float(x[i + 1])) for i in np.flatnonzero(joined[:-1])]


def test_a_window_is_painted_before_its_first_picture():
    """What is on the screen until something comes has its ground and its letters, and no fault."""
    open_application()
    window = MainWindow(PushedFeed(), LIGHT)
    window.show()
    QApplication.processEvents()
    try:
        seen = window.grab().toImage()
        assert window.faults.count == 0, window.faults.last
        chart = window.workbench.chart
        spot = chart.mapTo(window, chart.rect().center())
        assert seen.pixelColor(spot) == QColor(LIGHT.ground)
        low = window.header.geometry().center().y() + window.menuBar().height()
        assert len({seen.pixelColor(x, low).name() for x in range(0, seen.width(), 3)}) > 2
    finally:
        window.leave()


def test_lines_stop_where_a_sensor_is_silent():
    """No drawn piece of line, above or below, spans the gap of a silent sensor."""
    silent = range(40, 70)
    with shown(session(120, silent=silent)) as (window, _):
        chart = window.workbench.chart
        for drawn in (chart.traces.drawn[2], chart.differences.drawn[2]):
            assert len(drawn.t_s) > 80
            assert [p for p in pieces(drawn) if p[0] < 50 < p[1]] == []
        assert window.timeline.gaps[2].between(0, 120)[-1] == (43, 71)


def test_the_newest_reading_is_drawn_in_every_window_of_time():
    """Following any stretch, each line ends at its newest reading."""
    with shown(session(1000)) as (window, _):
        for action in (Action.MINUTE, Action.FIVE, Action.FIFTEEN, Action.ALL):
            window.do(action)
            picture(window)
            drawn = window.workbench.chart.traces.drawn
            assert drawn[1].t_s[-1] == pytest.approx(999.1)
            assert drawn[2].t_s[-1] == pytest.approx(999.3)
            start, end = window.workbench.chart.top.vb.viewRange()[0]
            assert start <= 999.1 <= end


def test_a_bad_value_blanks_nothing():
    """Zeros, no contact and malformed payloads leave the line as it was, and are counted."""
    bad = [
        Event(30_450_000_000, 2, HEART_RATE, b"\x06\x00"),
        Event(30_460_000_000, 2, HEART_RATE, b"\x04\x78"),
        Event(30_470_000_000, 2, HEART_RATE, b"\x00"),
    ]
    events = sorted([*session(60), *bad], key=lambda message: message.t_ns)
    with shown(events) as (window, _):
        drawn = window.workbench.chart.traces.drawn[2]
        assert len(drawn.t_s) == 60
        assert np.isfinite(drawn.low).all()
        assert drawn.joined[:-1].all()
        assert window.faults.count == window.model.faults == 0
        assert window.model.snapshot().sensors[1].malformed == 1


def test_the_band_is_as_wide_as_the_tolerance():
    """The band reaches from reference minus to reference plus tolerance, in the band's colour."""
    with shown(session(120), theme=LIGHT) as (window, _):
        chart = window.workbench.chart
        frame = chart.traces.frame
        ref = chart.traces.band
        assert frame.tolerance(np.array([30.0, 120.0])).tolist() == [5.0, 12.0]
        image = chart.grab().toImage()
        middle = len(ref.t_s) // 2
        tolerance = float(frame.tolerance(ref.low)[middle])
        for share, inside in ((-1.3, False), (-0.8, True), (0.8, True), (1.3, False)):
            spot = QPointF(float(ref.t_s[middle]), float(ref.low[middle]) + share * tolerance)
            pixel = chart.mapFromScene(chart.top.vb.mapViewToScene(spot))
            assert (QColor(image.pixel(pixel)).name() == LIGHT.band) is inside, share


def test_a_lost_sensor_is_cut_at_the_edge_with_a_mark():
    """A difference off the scale is no line along the edge: it is cut, and an arrowhead tells."""
    messages = [
        m if not (isinstance(m, Event) and m.sensor == 2) else beat(m.t_ns / 1e9, 2, 35)
        for m in session(120)
    ]
    with shown(messages) as (window, _):
        low, high = window.workbench.chart.middle.vb.viewRange()[1]
        drawn = window.workbench.chart.differences.drawn[2]
        assert (low, high) == (-48.0, 48.0)
        assert len(drawn.t_s) == 0
        (cut,) = window.workbench.chart.differences.cuts[2]
        assert (cut.up, cut.end_s - cut.start_s > 100) == (False, True)
        assert window.model.snapshot().sensors[1].difference_bpm < low


def test_nothing_new_draws_nothing():
    """A frame without news paints nothing."""
    with shown(session(30)) as (window, feed):
        assert window.frame() is False
        feed.waiting.append(Tick(31 * NS_PER_S))
        assert window.frame() is True


def test_an_error_in_one_panel_leaves_the_others(monkeypatch, caplog):
    """A panel that fails is counted and shown; cards, list and lines go on."""
    with shown(session(30)) as (window, feed):
        monkeypatch.setattr(window.workbench.plane, "show_frame", lambda _: 1 / 0)
        monkeypatch.setattr(window.workbench.chart.lanes, "draw", lambda *_: 1 / 0)
        feed.waiting += [beat(30.5, 1, 77), Tick(32 * NS_PER_S)]
        with caplog.at_level(logging.CRITICAL):
            picture(window)
            picture(window)
        assert window.faults.count >= 2
        assert "errors in drawing" in window.status_line.faults.text()
        assert window.workbench.chart.traces.drawn[1].low[-1] == 77
        assert "77 bpm" in window.workbench.cards.cards[0].accessibleDescription()


def test_a_rule_that_failed_is_told_in_the_status_line(monkeypatch, caplog):
    """A warning that is no longer looked for after an error is named, with its sensor."""
    monkeypatch.setattr(LowBattery, "step", lambda *_: 1 / 0)
    with caplog.at_level(logging.CRITICAL), shown(session(30)) as (window, _):
        told = window.status_line.faults
        assert "warnings off after an error: battery low of Yarrow, battery low" in told.text()
        assert told.isVisible()
        assert window.faults.count == window.model.faults == 0


def test_an_error_in_the_stream_is_counted_and_survived(caplog):
    """A feed that raises is counted like any other error of a view."""
    with shown(session(30)) as (window, feed), caplog.at_level(logging.CRITICAL):
        feed.poll = lambda: 1 / 0
        window.redraw()
        assert window.frame() is True
        assert window.faults.count == 1


def test_warnings_stand_in_the_list_with_what_to_do():
    """An open warning comes with cause and advice; a cleared one with how it ended."""
    with shown(session(90, silent=range(40, 60))) as (window, _):
        rows = window.workbench.warnings.warnings.rows
        silent = [w for w in rows if w.sensor == 2]
        assert silent
        assert silent[0].end_s is not None
        index = window.workbench.warnings.warnings.index(rows.index(silent[0]))
        assert silent[0].cleared in index.data()
        assert index.data(WARNING) is silent[0]
    with shown(session(60, silent=range(40, 60))) as (window, _):
        index = window.workbench.warnings.warnings.index(0)
        warning = index.data(WARNING)
        assert warning.end_s is None
        assert warning.cause in index.data()
        assert warning.advice in index.data()


def test_a_rewind_draws_anew():
    """After a replay went back, only what came since stands in the picture."""
    with shown(session(60), is_live=False) as (window, feed):
        feed.waiting += [Rewound(), *session(20)]
        picture(window)
        assert len(window.workbench.chart.traces.drawn[1].t_s) == 20
        assert window.timeline.counts(2, window.model.board).pairs < 25


def test_the_end_is_said():
    """Once the stream is over, the line below says why, and nothing can be asked any more."""
    with shown(session(30)) as (window, feed):
        feed.waiting.append(Ended(30 * NS_PER_S, "stopped by the tester"))
        picture(window)
        assert "stopped by the tester" in window.status_line.state.text()
        assert not window.header.buttons[Action.STOP].isEnabled()


def test_invented_data_is_marked_everywhere():
    """Title (aloud), line below and far view carry the mark for invented data; real data none."""
    with shown(session(30), plan=replace(PLAN, invented=True)) as (window, _):
        assert "INVENTED DATA" in window.header.title.accessibleName()
        assert window.status_line.invented.isVisible()
    with shown(session(30)) as (window, _):
        assert "INVENTED" not in window.header.title.accessibleName()
        assert not window.status_line.invented.isVisible()


def test_no_two_sensors_look_the_same():
    """Shape and colour together are another for each of as many sensors as there are signs; the
    first seven differ in both, and lines of one colour in their dashes.
    """
    sensors = [PLAN.sensors[0]]
    sensors += [PlannedSensor(label=f"T{n}", role="test", name=f"T{n}") for n in range(SIGNS)]
    styles = sensor_styles(replace(PLAN, sensors=tuple(sensors)))
    assert len({(look.shape, look.index) for look in styles.values()}) == len(styles)
    assert styles[9].dashed
    assert not styles[2].dashed
    for theme in (LIGHT, DARK):
        assert len({styles[n].colour(theme) for n in range(1, 9)}) == 8
        assert len({*SENSOR_SHAPES}) == SHAPES
        assert len({*theme.sensors}) == COLOURS
    assert len({*SEVERITY_SHAPES.values()}) == len({*SEVERITY_WORDS.values()}) == 4


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
def test_colours_stand_off_their_ground(theme):
    """Text keeps 4.5 : 1 and lines 3 : 1 against what they lie on (WCAG 2.1, 1.4.3 and 1.4.11)."""
    for ground in (theme.ground, theme.panel):
        for ink in (theme.ink, theme.faint, theme.alarm, theme.caution):
            assert contrast(ink, ground) >= 4.5, (ink, ground)
    for colour in theme.sensors:
        assert contrast(colour, theme.ground) >= 3.0, colour
        assert contrast(colour, theme.band) >= 3.0, colour
    assert contrast(theme.band_edge, theme.ground) >= 3.0
    assert contrast(theme.band_core, theme.band) >= 3.0
    for ground in (theme.ground, theme.panel):
        assert contrast(theme.frame, ground) >= 3.0


def contrast(one: str, other: str) -> float:
    def luminance(name: str) -> float:
        colour = QColor(name)
        parts = [
            v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4
            for v in (colour.redF(), colour.greenF(), colour.blueF())
        ]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_a_session_without_test_sensors_is_shown():
    """A plan of a reference alone has no plane, and no error."""
    plan = replace(PLAN, sensors=PLAN.sensors[:1])
    with shown([beat(0.1, 1, 90), Tick(NS_PER_S)], plan=plan) as (window, _):
        window.do(Action.NEXT_SENSOR)
        window.do(Action.CONNECT)
        picture(window)
        assert not window.workbench.plane.isVisible()
        assert window.faults.count == 0


def test_before_anything_came_the_window_stands():
    """A window opened before the first event draws empty panels without an error."""
    with shown() as (window, _):
        for action in (Action.ALL, Action.TURN_PLANE, Action.FAR, Action.THEME):
            window.do(action)
            picture(window)
        QApplication.processEvents()
        assert window.faults.count == 0, window.faults.last


@given(st.lists(st.floats(-50, 450), max_size=8), st.floats(5, 40))
def test_labels_at_the_lines_ends_do_not_overlap(wanted, height):
    """Labels keep their order and their distance, and stay inside where they fit at all."""
    bottom = max(400.0, height * len(wanted))
    placed = spread(wanted, height, 0.0, bottom)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    middles = [placed[i] for i in order]
    assert all(b - a >= height - 1e-6 for a, b in pairwise(middles))
    assert all(height / 2 - 1e-6 <= y <= bottom - height / 2 + 1e-6 for y in middles)


def fault(since: int, end: int | None) -> SensorWarning:
    return SensorWarning(
        1, WarningKind.SILENT, 1, Severity.TEST_FAULT, since, since, end, "Cause.", "Advice."
    )


def test_warnings_at_one_time_share_their_lane():
    """Two at once stand above one another; one that ends as the next begins keeps its height."""
    assert [(level, of) for level, of, _ in stacked([fault(0, 100), fault(50, None)])] == [
        (0, 2),
        (1, 2),
    ]
    assert [(level, of) for level, of, _ in stacked([fault(0, 100), fault(97, None)])] == [
        (0, 1),
        (0, 1),
    ]


def test_value_difference_and_panels_are_of_one_second():
    """A reading that no closed second holds yet is not on the card beside an older difference."""
    with shown(session(30)) as (window, feed):
        feed.waiting += [beat(30.2, 1, 99)]
        picture(window)
        board = window.model.snapshot().sensors
        assert board[0].bpm == 99
        assert board[0].shown_bpm != 99
        cards = window.workbench.cards.cards
        assert "99 bpm" not in cards[0].accessibleDescription()
        feed.waiting += [Tick(32 * NS_PER_S)]
        window.frame()
        for card, status in zip(cards, window.model.snapshot().sensors, strict=True):
            assert f"{status.shown_bpm:.0f} bpm" in card.accessibleDescription()


def test_an_axis_that_grows_too_short_for_its_name_has_the_unit_alone():
    """Also where the last picture is drawn: a bar over the window takes the room."""
    with shown(session(30)) as (window, _):
        chart = window.workbench.chart
        axis = chart.middle.getAxis("left")
        metrics = QFontMetricsF(chart.font())
        for height in (900, 300):
            chart.resize(chart.width(), height)
            chart.rows.activate()
            fits = metrics.horizontalAdvance("difference (bpm)") < chart.middle.vb.height()
            assert (axis.labelText == "difference (bpm)") is fits
        assert not fits


def specs(line, ticks, texts):
    """Comparable: pens by their colours, flags as numbers."""
    lines = [(pen.color().name(), *map(QPointF, ends)) for pen, *ends in (line, *ticks)]
    return lines, [(place, int(flags), text) for place, flags, text in texts]


@pytest.mark.parametrize("size", [(1280, 720), (2000, 1100)])
def test_numbers_of_an_axis_stand_where_the_library_puts_them(size):
    """At the left and below; our own way only takes less time."""
    with shown(session(30), size=size) as (window, _):
        bench = window.workbench
        plots = ((bench.chart.top, "left"), (bench.chart.middle, "left"))
        planes = ((bench.plane.plot, "left"), (bench.plane.plot, "bottom"))
        for plot, side in (*plots, *planes):
            axis = plot.getAxis(side)
            ground = QPixmap(10, 10)
            painter = QPainter(ground)
            ours = specs(*axis.generateDrawSpecs(painter))
            theirs = specs(*pg.AxisItem.generateDrawSpecs(axis, painter))
            painter.end()
            assert len(ours[1]) >= 2
            assert ours == theirs


def test_a_row_of_controls_becomes_as_high_as_they_are():
    """Also after its height was asked for: where one grows, is added, hidden or taken away."""
    open_application()
    box = QWidget()
    row = FlowLayout(box)
    parts = [QLabel("Yarrow"), QLabel("Sorrel")]
    row.addWidget(parts[0])
    one = row.heightForWidth(1000)
    assert row.sizeHint().height() == one
    row.addWidget(parts[1])
    wide = row.sizeHint().width()
    assert row.heightForWidth(wide - parts[1].sizeHint().width()) > one
    parts[1].setText("Sorrel\nleft wrist")
    assert row.heightForWidth(1000) > one
    assert row.sizeHint().height() > one
    parts[1].hide()
    assert row.heightForWidth(1000) == one
    assert row.sizeHint().width() < wide
    parts[1].show()
    row.takeAt(1)
    assert row.heightForWidth(1000) == one
    box.deleteLater()


def test_a_card_wraps_its_facts_anew_at_another_width():
    """In a narrower column the same facts take more lines, and the card grows."""
    with shown(session(60)) as (window, _):
        picture(window)  # of the width that the column has since the first picture
        card = window.workbench.cards.cards[1]
        before = card.sizeHint().height()
        card.resize(card.width() // 2, card.height())
        assert card.sizeHint().height() > before


def test_marks_stay_on_their_line_while_time_passes():
    """The shapes along a line are bound to times: a tick later they stand at the same seconds."""
    with shown(session(400)) as (window, feed):
        chart = window.workbench.chart
        rows = []
        for extra in (0, 3):
            feed.waiting.append(Tick(round((400 + extra) * NS_PER_S)))
            picture(window)
            start, end = chart.top.vb.viewRange()[0]
            scale = chart.top.vb.width() / (end - start)
            area = Area(QRectF(chart.top.vb.rect()), scale, -start * scale, 1.0, 0.0)
            xs, _ = mark_points(chart.traces.drawn[2], area, 0.37)
            rows.append({round(float(x / scale + start), 1) for x in xs})
        assert len(rows[0]) >= 3
        assert rows[0] & rows[1] >= rows[1] - {max(rows[1])}


def test_a_doubtful_reading_has_a_sign_on_its_trace():
    """A leap is marked at its reading, there and back, with a sign and not by colour alone."""
    beats = [message for message in session(120) if getattr(message, "t_ns", 0) != 50_300_000_000]
    with shown([*beats[:150], beat(50.3, 2, 30), *beats[150:]]) as (window, _):
        found = window.timeline.doubtful[2]
        assert [t for t in found.t_s if 50 < t < 52] == [50.3, 51.3]
        assert found.bpm[found.t_s.index(50.3)] == 30.0
        chart = window.workbench.chart
        with_sign = chart.grab().toImage()
        assert chart.grab().toImage() == with_sign
        found.t_s.clear()
        found.bpm.clear()
        assert chart.grab().toImage() != with_sign
        assert window.faults.count == 0


def test_lines_keep_their_names_where_a_zoomed_picture_ends():
    """A picture that was looked at closer has the labels inside while the newest second nears its
    edge, and the names at the edge once the lines run out of it.
    """
    messages = session(400)
    half = 3 * 200
    with shown(messages[:half]) as (window, feed):
        chart = window.workbench.chart
        window.do(Action.CLOSER)
        end_s = window.span.at(0.0)[1]
        for until_s in (201, end_s - 2, end_s + 5):
            feed.waiting += [m for m in messages[half:] if m.t_ns <= until_s * NS_PER_S]
            messages = messages[:half] + [m for m in messages[half:] if m.t_ns > until_s * NS_PER_S]
            picture(window)
            with painted_texts() as texts:
                chart.grab()
            box = QRectF(chart.mapFromScene(chart.top.vb.sceneBoundingRect()).boundingRect())
            inside = {one.text for one in texts if box.adjusted(0, -1, 1, 1).contains(one.box)}
            valued = {one for one in inside if one.endswith(("  Sorrel", "  Yarrow"))}
            if until_s < end_s:
                assert len(valued) == 2
            else:
                assert not valued
                assert {"Sorrel", "Yarrow"} <= inside
        assert window.span.follow is None
