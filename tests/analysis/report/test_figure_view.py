"""What figures show of a session: which sensors, from when to when, on which clock."""

from __future__ import annotations

import re
import struct
import time
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from analysis.report.agreement_plots import draw_agreement, draw_differences
from analysis.report.effort_panels import draw_effort_panels
from analysis.report.figure_canvas import PAGE, PHONE, Heading
from analysis.report.figure_view import WHOLE, AxisClock, FigureView, view_of
from analysis.report.figures import FIGURES, FigureFiles, save_figures
from analysis.report.palette import LIGHT
from analysis.report.traces import draw_traces
from analysis.session.pipeline import session_of
from replay.capture import Capture
from replay.errors import SidebeatError
from tests.standins.demo_sessions import rowing_session
from tests.standins.feeds import PLAN, two_sensors, written
from tests.standins.small_pictures import SHRUNK, small_pictures

HEADING = Heading("Traces", "W1", "here", invented=True)
LABELS = ("Sorrel", "Tansy", "Bracken")


@pytest.fixture
def rowing():
    return rowing_session()


@pytest.fixture
def oslo(monkeypatch):
    if not hasattr(time, "tzset"):
        pytest.skip("the time zone of a process cannot be set here")
    monkeypatch.setenv("TZ", "Europe/Oslo")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture(scope="module")
def drawn():
    """Figures of the rowing session as a view shows them, each drawn once: none changes it."""
    made = {}

    def of(draw, layout=PAGE, *labels):
        asked = draw, layout, labels
        if asked not in made:
            rowing = rowing_session()
            view = view_of(rowing.record, sensors=labels)
            made[asked] = draw(rowing, layout, HEADING, view if labels else WHOLE)
        return made[asked]

    return of


def words_of(canvas):
    return [text.get_text() for text in canvas.figure.texts]


@pytest.mark.parametrize("draw", [draw_traces, draw_agreement, draw_differences])
@pytest.mark.parametrize("layout", [PAGE, PHONE])
def test_each_sensors_figure_has_the_same_axes(drawn, draw, layout):
    """One sensor alone is drawn on the axes of all of them, in its own colour."""
    whole = drawn(draw, layout).figure.axes[0]
    for label in LABELS if layout is PAGE else LABELS[-1:]:
        canvas = drawn(draw, layout, label)
        ax = canvas.figure.axes[0]
        assert ax.get_ylim() == whole.get_ylim()
        assert ax.get_xlim() == whole.get_xlim()
        assert any(label in words for words in words_of(canvas))
        for other in set(LABELS) - {label}:
            assert not any(other in words for words in words_of(canvas))


def test_the_colour_of_a_sensor_does_not_depend_on_who_is_shown(drawn):
    """Sorrel's line alone is Sorrel's line among others."""

    def lines(*labels):
        found = drawn(draw_traces, PAGE, *labels).figure.axes[0].lines
        return {line.get_color(): line.get_marker() for line in found}

    whole = lines()
    for index, label in enumerate(LABELS, 1):
        colour = LIGHT[f"sensor-{index}"]
        assert lines(label)[colour] == whole[colour]


def test_what_is_not_highlighted_is_grey(rowing):
    """The others keep their lines and shapes, and give up their colours."""
    view = view_of(rowing.record, highlight=("tansy",))
    lines = draw_traces(rowing, PAGE, HEADING, view).figure.axes[0].lines
    colours = [line.get_color() for line in lines]
    assert LIGHT["sensor-2"] in colours
    assert LIGHT["sensor-1"] not in colours
    assert colours.count(LIGHT["faint"]) == 2


def test_a_stretch_is_shown_alone(rowing):
    """Its axis begins and ends there, its scale is its own, and efforts elsewhere are not drawn."""
    view = view_of(rowing.record, start="10:00", end="12:30")
    axes = draw_traces(rowing, PAGE, HEADING, view).figure.axes
    assert axes[0].get_xlim() == (600, 750)
    values = rowing.data.reference.grid[600:751] / 1000
    low, high = axes[0].get_ylim()
    assert low <= values.min()
    assert high >= values.max()
    named = words_of(draw_effort_panels(rowing, PAGE, HEADING, view))
    assert "E2" in named
    assert "E1" not in named
    said = words_of(draw_effort_panels(rowing, PAGE, HEADING, FigureView(start_s=480, end_s=520)))
    assert "No effort lies in this stretch." in said


def test_without_its_band_the_reference_is_a_line(rowing):
    """Nothing is filled, and no tolerance is drawn on the plane."""
    view = view_of(rowing.record, band=False)
    assert not draw_traces(rowing, PAGE, HEADING, view).figure.axes[0].collections
    plane = draw_agreement(rowing, PAGE, HEADING, view).figure.axes[0]
    assert [line.get_linestyle() for line in plane.lines] == ["-"]


def test_the_plane_says_which_r_it_is_and_of_how_many_sessions(rowing, drawn):
    """Beside r stand its name, its interval and that it is of one session."""
    said = [word for word in words_of(drawn(draw_agreement)) if " r " in word]
    assert len(said) == len(LABELS)
    for one, sensor in zip(said, rowing.record.sensors, strict=True):
        assert one.startswith(f"Pearson's r {sensor.counted.pearson_r.value:.2f} (")
        assert one.endswith(", 1 session")


def test_time_axes_show_the_clock_that_is_asked_for(rowing, oslo):
    """Round times of that clock, wherever the session began, and which clock it is."""
    for clock, first, name in (
        (AxisClock.ELAPSED, "0:00", "time since the start, min:s"),
        (AxisClock.UTC, "06:15", "time of day (UTC)"),
        (AxisClock.LOCAL, "07:15", "time of day (UTC+01:00)"),
    ):
        ticks, said = FigureView(clock=clock).of_axis(rowing.record, 10)
        assert (next(iter(ticks.values())), said) == (first, name)
    view = view_of(rowing.record, start="07:20:30", end="07:30", clock=AxisClock.LOCAL)
    assert (view.start_s, view.end_s) == (330, 900)
    ticks, _ = view.of_axis(rowing.record, 10)
    assert ticks[360] == "07:21"
    assert all(330 <= at <= 900 for at in ticks)
    assert not set(np.diff(list(ticks))) - {60, 120}


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    """The files of all figures of one sensor in a minute of an invented session, as told."""
    folder = tmp_path_factory.mktemp("saved")
    plan = replace(PLAN, invented=True)
    file = written(folder / "a.sqlite", two_sensors(150), plan=plan, end_s=150)
    with Capture.open(file) as capture:
        session = session_of(capture)
    view = view_of(session.record, sensors=("Sorrel",), start="1:00", end="2:00")
    with small_pictures():
        return save_figures(
            session, FigureFiles(folder / "figures", "rowing_sorrel", "W1", "here", view)
        )


def test_figures_of_one_sensor_have_names_and_headings_of_their_own(saved):
    """The heading of a figure with a time axis names its stretch; that of a plane, which is of the
    whole session, does not.
    """
    svg = {path.name: path.read_text(encoding="utf-8") for path in saved if path.suffix == ".svg"}
    for kind in ("traces", "efforts"):
        assert "W1, Sorrel, 1:00 to 2:00 of 2:30" in svg[f"rowing_sorrel_{kind}_print.svg"]
    for kind in ("agreement", "differences"):
        assert "W1, Sorrel<" in svg[f"rowing_sorrel_{kind}_print.svg"]


def size_of_png(path):
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", head[16:24])


def test_files_have_the_sizes_of_their_names(saved):
    """Each figure is there for video in both sizes and for print, as PNG and as SVG."""
    assert len(saved) == 5 * len(FIGURES)
    assert sorted(saved) == sorted(saved[0].parent.iterdir())
    for path in saved:
        if path.suffix == ".svg":
            root = ElementTree.parse(path).getroot()
            assert root.tag.endswith("svg")
            assert "INVENTED DATA" in "".join(root.itertext())
        elif "print" in path.name:
            assert size_of_png(path)[0] == 2700 / SHRUNK  # 9 in at 300 dpi
        else:
            told = re.findall(r"(\d+)x(\d+)", path.name)[0]
            assert size_of_png(path) == tuple(int(side) / SHRUNK for side in told)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"sensors": ("Yarrow",)}, "'Yarrow' is no test sensor of this session: Sorrel, Tansy"),
        ({"highlight": ("x",)}, "'x' is no test sensor"),
        ({"start": "ten"}, "'ten' is no time: write m:ss"),
        ({"start": "-5"}, "'-5' is no time"),
        ({"start": "22:30"}, None),
        ({"start": "22:31"}, "would show nothing from 22:31 to the end"),
        ({"start": "10:00", "end": "9:00"}, "would show nothing from 10:00 to 9:00"),
        ({"end": "25:00", "clock": AxisClock.UTC}, "'25:00' is no time of the day"),
        ({"end": "06:00", "clock": AxisClock.UTC}, "lasts from 06:15:00 to 06:37:30"),
    ],
)
def test_what_the_session_does_not_have_is_refused(rowing, asked, told):
    """With one sentence that says what there is."""
    if told is None:
        assert view_of(rowing.record, **asked).start_s == 1350
        return
    with pytest.raises(SidebeatError, match=told):
        view_of(rowing.record, **asked)
