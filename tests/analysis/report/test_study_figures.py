"""The figures of a study: colours, the better half, pooled pairs, links, what was published."""

from __future__ import annotations

import re
from array import array

import numpy as np
import pytest
from matplotlib import pyplot as plt

from analysis.report.cell_shades import even_steps
from analysis.report.palette import LIGHT, SHAPES
from analysis.report.study.figures import plot_sessions
from analysis.report.study.looks import looks_of
from analysis.report.study.page import study_page
from analysis.report.study.planes import plot_difference_plane, plot_plane
from analysis.report.study.shown import better_half, is_worth_a_zoom
from analysis.report.study.study_view import StudyView
from analysis.session.pair_counts import added, pair_counts
from analysis.study.published import Published
from analysis.study.study import study_of
from replay.errors import SidebeatError
from tests.standins.study_rows import sensor_row, session_row, sessions

EQUAL = array("i", [60, 60, 100, 80, 81, 7]).tobytes()
FAR = array("i", [60, 95, 3]).tobytes()
ACTIVITY = "rowing ergometer"


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def worn(number, *labels, **values):
    """A session with these sensors in this order in its plan."""
    rows = [sensor_row(label, sign=place + 1, **values) for place, label in enumerate(labels)]
    return session_row(number, rows)


def activity_of(*rows):
    return study_of(rows).activity(ACTIVITY)


def test_a_sensor_has_the_colour_of_its_place_in_most_sessions():
    """As in the sessions' own figures; a label whose place is taken gets the first free one."""
    rows = [worn(n, "Sorrel", "Tansy") for n in range(4)]
    rows += [worn(4, "Tansy", "Sorrel"), worn(5, "Bracken"), worn(6, "Bracken")]
    looks = looks_of(activity_of(*rows))
    assert {name: look.colour for name, look in looks.items()} == {
        "Sorrel": LIGHT["sensor-1"], "Tansy": LIGHT["sensor-2"], "Bracken": LIGHT["sensor-3"],
    }  # fmt: skip
    assert looks["Tansy"].shape == SHAPES[1]


def test_an_older_firmware_has_the_colour_and_is_hollow():
    """What belongs to one sensor is seen, and so is that the firmware is another."""
    rows = [session_row(n, [sensor_row(firmware="7.4" if n < 4 else "8.0")]) for n in range(8)]
    old, new = looks_of(activity_of(*rows)).values()
    assert old.colour == new.colour == LIGHT["sensor-1"]
    assert (old.fill, new.fill) == (LIGHT["ground"], new.colour)


def test_the_highlighted_sensor_keeps_its_colour_with_its_relatives():
    """All its firmwares do; the others are grey."""
    rows = [
        session_row(
            n, [sensor_row(firmware="7.4" if n < 4 else "8.0"), sensor_row("Tansy", sign=2)]
        )
        for n in range(8)
    ]
    looks = looks_of(activity_of(*rows), StudyView.of(highlight=["sorrel"]))
    assert looks["Sorrel 7.4"].colour == looks["Sorrel 8.0"].colour == LIGHT["sensor-1"]
    assert looks["Tansy"].colour == LIGHT["faint"]


def test_the_better_half_has_an_axis_of_its_own_where_that_shows_more():
    """Failures and worse sensors stretch the axis: then, and only then, it is drawn once more."""
    near = {"A": [1.0, 1.1, 1.2], "B": [1.3, 1.2, 1.1]}
    spread = near | {"C": [7.0, 7.5, 8.0], "D": [9.0, 8.5, 15.0]}
    assert not is_worth_a_zoom(study_of(sessions(near)).activity(ACTIVITY))
    activity = study_of(sessions(spread)).activity(ACTIVITY)
    assert is_worth_a_zoom(activity)
    assert [place.name for place in better_half(activity)] == ["A", "B"]
    axes = plot_sessions(activity, zoom=True)
    low, high = axes.get_xlim()
    assert low < 1.0
    assert 1.3 < high < 5
    assert [label.get_text() for label in axes.get_yticklabels()] == ["A", "B"]


@pytest.mark.parametrize("value", [0.0, 1.2])
def test_the_one_value_of_one_session_stands_in_the_middle(value):
    """Where a chosen sensor has one session and no other sensor is there, there is no span."""
    activity = activity_of(session_row(0, [sensor_row("Sorrel", mae_bpm=value)]))
    low, high = plot_sessions(activity, sensors=["Sorrel"]).get_xlim()
    assert low < value < high
    assert (low + high) / 2 == pytest.approx(value)


def test_sessions_too_short_to_count_make_an_empty_figure():
    """Where no sensor has a value there is nobody to name, and nothing to complain of."""
    axes = plot_sessions(activity_of(session_row(0, [sensor_row("Sorrel", mae_bpm=None)])))
    assert [label.get_text() for label in axes.get_yticklabels()] == []


def test_pairs_of_all_sessions_are_added_on_one_plane():
    """Cell by cell, whatever order they come in; and counted from the pairs as they are."""
    centres, counts = added([EQUAL, FAR, EQUAL])
    assert centres.tolist() == [[120, 120], [120, 190], [160, 162]]
    assert counts.tolist() == [200, 3, 14]
    empty = added([])
    assert (len(empty[0]), len(empty[1])) == (0, 0)
    ref = np.array([120_000, 120_900, 121_000, -1, 90_000], dtype=np.int32)
    test = np.array([119_500, 120_400, 120_000, 100_000, 90_000], dtype=np.int32)
    kept = np.array([True, True, True, True, False])
    assert pair_counts(ref, test, kept) == (60, 60, 2, 61, 60, 1)


def test_planes_of_all_sensors_have_the_same_axes():
    """With the line of equality, and r with its name and the number of its sessions."""
    rows = [
        session_row(n, [sensor_row("A", pair_counts=EQUAL), sensor_row("B", pair_counts=FAR)])
        for n in range(3)
    ]
    activity = activity_of(*rows)
    drawn = [plot_plane(activity, name) for name in ("A", "B")]
    assert drawn[0].get_xlim() == drawn[1].get_xlim() == drawn[0].get_ylim()
    equality = drawn[0].lines[0]
    assert equality.get_xdata().tolist() == equality.get_ydata().tolist()
    (said,) = [text.get_text() for text in drawn[0].texts]
    assert said.startswith("Pearson's r 0.95")
    assert said.endswith("mean of 3 sessions")
    below = [plot_difference_plane(activity, name) for name in ("A", "B")]
    assert below[0].get_ylim() == below[1].get_ylim()
    assert below[0].get_ylim()[1] > 70


def test_shades_are_round_numbers_that_reach_the_highest_count():
    """From 1 on, each more than the one before."""
    for most in (1, 2, 7, 60, 999, 123_456):
        steps = even_steps(most)
        assert steps[0] == 1
        assert list(steps) == sorted(set(steps))
    assert even_steps(123_456) == (1, 10, 200, 5000)


def test_each_point_leads_to_its_session():
    """To its row on the page, or to its own page where there is one, with a name to be read."""
    rows = sessions({"Sorrel": [1.0, 1.2, 0.9], "Tansy": [3.1, 2.9, 3.4]})
    page = study_page(study_of(rows), "Sidebeat 0")
    assert 'id="session-2"' in page
    links = re.findall(r'<a href="(#session-\d)" aria-label="([^"]*)"', page)
    assert len(links) == 12  # three sessions of two sensors, in two widths
    assert ("#session-0", f"2026-02-02 W1 {rows[0].path}") in links
    assert "session:" not in page
    one = sessions({"Sorrel": [1.0, 1.2, 0.9]})
    own = study_page(study_of(one), "Sidebeat 0", pages={one[1].path: 'a "b"/1.html'})
    assert own.count('<a href="a &quot;b&quot;/1.html" aria-label') == 2
    assert own.count('<a href="#session-2" aria-label') == 2
    assert '<a href="a &#34;b&#34;/1.html">' in own


def test_published_figures_stand_apart_and_are_not_ranked():
    """Those of an activity below its tables, others in a section of their own."""
    study = study_of(sessions({"Sorrel": [1.0, 1.2, 0.9]}))
    told = [
        Published(sensor="Rue", activity=" Rowing  ergometer", statistic="mae_bpm", value=0.2,
                  sessions=20, source="a leaflet"),
        Published(sensor="Rue", activity="walking", statistic="pearson_r", value=0.97, source="b"),
    ]  # fmt: skip
    page = study_page(study, "Sidebeat 0", published=told)
    assert "Published elsewhere, without data: to be read, not to be ranked" in page
    assert "Published of other activities" in page
    ranked = page.split("Published elsewhere", 1)[0]
    assert "Rue" not in ranked


def test_no_table_of_numbers_has_more_columns_than_a_screen():
    """What would scroll sideways at 1280 pixels is cut into two tables."""
    page = study_page(study_of(sessions({"Sorrel": [1.0, 1.2, 0.9]})), "Sidebeat 0")
    heads = re.findall(r"<thead[^>]*>(.*?)</thead>", page)
    assert max(head.count("<th ") for head in heads) <= 9


def test_a_study_without_counts_has_no_plane():
    """Rows that were made without them draw nothing, and say nothing."""
    page = study_page(study_of(sessions({"Sorrel": [1.0, 1.2, 0.9]})), "Sidebeat 0")
    assert "All seconds of all sessions" not in page


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("sensor,activity\nA,b\n", "figure 1 has no statistic"),
        ("", "no figure stands in it"),
        ("sensor,activity,statistic,value,source\nA,b,mae,1,c\n", "'mae' is none of bias_bpm"),
        ("sensor,activity,statistic,value,source\nA,b,mae_bpm,x,c\n", "value must be a number"),
        ("sensor,colour\nA,b\n", "figure 1 has 'colour', which is none of"),
        ("sensor,activity,statistic,value,source,sessions\nA,b,mae_bpm,1,c,1.5\n",
         "sessions must be a whole number"),
    ],
)  # fmt: skip
def test_a_published_figure_that_says_too_little_is_refused(tmp_path, text, told):
    """With the file, the figure and the rule."""
    from analysis.study.published import load_published

    path = tmp_path / "published.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SidebeatError, match=told):
        load_published(path)


def test_published_figures_are_read_from_both_forms(tmp_path):
    """A table and TOML say the same."""
    from analysis.study.published import load_published

    table, toml = tmp_path / "a.csv", tmp_path / "a.toml"
    table.write_text(
        "sensor;activity;statistic;value;sessions;source\nRue;rest;pearson_r;0.97;20;a leaflet\n",
        encoding="utf-8",
    )
    toml.write_text(
        '[[figure]]\nsensor = "Rue"\nactivity = "rest"\nstatistic = "pearson_r"\nvalue = 0.97\n'
        'sessions = 20\nsource = "a leaflet"\n',
        encoding="utf-8",
    )
    assert load_published(table) == load_published(toml)
    assert load_published(table)[0].sessions == 20
