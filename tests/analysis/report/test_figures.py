"""The figures: their colours, their files, their gaps."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.report import palette
from analysis.report.agreement_plots import draw_differences
from analysis.report.figure_canvas import PAGE, VIDEO, Heading
from analysis.report.figures import FIGURES
from analysis.report.palette import DARK, LIGHT, contrast
from analysis.report.traces import draw_traces, series_of
from analysis.session.pipeline import session_of
from analysis.statistics.pairing import NO_VALUE
from replay.capture import Capture
from replay.event import NS_PER_S
from replay.plan import Plan, PlannedSensor
from tests.standins.demo_sessions import rowing_session
from tests.standins.feeds import beat, two_sensors, written

HEADING = Heading("Traces", "W1", "here", invented=True)


@pytest.fixture
def rowing():
    return rowing_session()


def numbers_of(path):
    with Capture.open(path) as capture:
        return session_of(capture)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_words_stand_out(scheme):
    """Every colour of words has 4.5 : 1 on every ground it stands on (WCAG AA)."""
    grounds = ("ground", "panel", "alarm-tint", "caution-tint")
    weak = [
        (word, ground)
        for word in ("ink", "faint", "alarm", "caution")
        for ground in grounds
        if contrast(scheme[word], scheme[ground]) < 4.5
        # These colours are never put on the tint of the other severity, nor faint words on tints.
        and not (word != "ink" and ground.endswith("tint"))
    ]
    assert weak == []
    assert contrast(scheme["ground"], scheme["alarm"]) >= 4.5
    assert contrast(scheme["ground"], scheme["caution"]) >= 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_lines_stand_out(scheme):
    """Lines and edges have 3 : 1 on the ground, and lines of sensors 2 : 1 on the band too."""
    for name in ("band-edge", "ink", "faint", "alarm", "caution", "focus"):
        assert contrast(scheme[name], scheme["ground"]) >= 3, name
    for name in scheme:
        if name.startswith("sensor-"):
            assert contrast(scheme[name], scheme["ground"]) >= 3, name
            assert contrast(scheme[name], scheme["band"]) >= 2, name
    shades = [palette.luminance(scheme[f"shade-{step}"]) for step in range(1, 5)]
    assert shades in (sorted(shades), sorted(shades, reverse=True))


def test_the_colours_are_told_apart():
    """No two light colours are equal, or a page could not give them different dark ones."""
    assert len(set(LIGHT.values())) == len(LIGHT)
    assert LIGHT.keys() == DARK.keys()


def test_the_colours_are_those_of_the_window():
    """Sensors, band and words have the same colours and shapes as in the window."""
    pytest.importorskip("PySide6.QtGui", exc_type=ImportError)
    from live.views.window.parts import shapes, theme

    for scheme, window in ((LIGHT, theme.LIGHT), (DARK, theme.DARK)):
        mine = [scheme[palette.sensor_colour(index)] for index in range(len(window.sensors))]
        assert mine == list(window.sensors)
        for name in ("ground", "panel", "ink", "faint", "rule", "alarm", "caution", "focus"):
            assert scheme[name] == getattr(window, name), name
        assert (scheme["band"], scheme["band-core"]) == (window.band, window.band_core)
        assert scheme["band-edge"] == window.band_edge
    words = [shape.value for shape in shapes.SENSOR_SHAPES]
    signs = dict(zip(palette.SIGNS, words, strict=True))
    assert signs == {
        "◆": "diamond", "●": "disc", "▲": "triangle", "■": "square", "★": "star", "✚": "plus",
        "◗": "half disc", "✖": "cross",
    }  # fmt: skip
    markers = dict(zip(palette.SHAPES, words, strict=True))
    assert [markers[sign] for sign in "os^DXP*"] == [
        "disc", "square", "triangle", "diamond", "cross", "plus", "star",
    ]  # fmt: skip


def test_the_same_figure_twice_is_the_same(rowing):
    """A figure does not depend on when it is drawn."""
    one, two = (draw_traces(rowing, PAGE, HEADING).svg() for _ in range(2))
    assert one == two


def test_a_gap_is_not_joined():
    """Seconds without a value have none in the drawn line either."""
    grid = np.array([100_000, NO_VALUE, NO_VALUE, 102_000], dtype=np.int32)
    assert np.isnan(series_of(grid)).tolist() == [False, True, True, False]


def test_lines_break_at_gaps(tmp_path):
    """A sensor silent for 30 s is drawn as lines that no segment joins over the gap."""
    events = [
        event
        for event in two_sensors(300)
        if not (event.sensor == 2 and 100 * NS_PER_S < event.t_ns < 130 * NS_PER_S)
    ]
    numbers = numbers_of(written(tmp_path / "a.sqlite", events, end_s=300))
    canvas = draw_traces(numbers, VIDEO, HEADING)
    colour = LIGHT[palette.sensor_colour(0)]
    lines = [line for line in canvas.figure.axes[0].lines if line.get_color() == colour]
    values = np.asarray(lines[0].get_ydata(), dtype=float)
    assert np.isnan(values[105:130]).all()
    assert np.isfinite(values[140:290]).all()


def test_many_sensors_are_told_apart(tmp_path):
    """With nine test sensors every figure is drawn; the colours repeat, dashed."""
    plan = Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", name="Yarrow"),
            *(
                PlannedSensor(label=f"A rather long label {n}", role="test", name=f"S{n}")
                for n in range(2, 11)
            ),
        ),
    )
    events = two_sensors(60)
    events += [
        beat(second + 0.4 + number / 100, number, 118 + (second * number) % 9)
        for second in range(60)
        for number in range(3, 11)
    ]
    events.sort(key=lambda event: event.t_ns)
    numbers = numbers_of(written(tmp_path / "a.sqlite", events, plan=plan, end_s=60))
    drawn = {}
    for kind in FIGURES:
        for layout in (PAGE, VIDEO):
            drawn[kind.name] = canvas = kind.draw(numbers, layout, HEADING)
            assert canvas.width == layout.width_in
        assert canvas.svg().startswith("<?xml")  # of the sheet on which it is tightest
    styles = {line.get_linestyle() for line in drawn["traces"].figure.axes[0].lines}
    assert {"-", "--"} <= styles


def test_a_very_wide_interval_leaves_the_picture_to_the_pairs(rowing):
    """Where one failure makes an interval very wide, pairs and limits still fill the picture."""
    canvas = draw_differences(rowing, PAGE, HEADING)
    (low, high) = next(ax for ax in canvas.figure.axes if ax.get_ylabel()).get_ylim()
    tansy = rowing.record.sensors[1].counted
    assert tansy.loa_low.interval[0] < 1.5 * low
    assert low < tansy.loa_low.value < tansy.loa_high.value < high
    words = " ".join(text.get_text() for text in canvas.figure.texts)
    assert "not drawn: ends of intervals" in words
