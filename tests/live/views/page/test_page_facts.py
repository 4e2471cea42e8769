"""What the page shows of an instant, and how little of it is sent."""

from __future__ import annotations

import json
from dataclasses import replace

from live.protocol.alarm import Alarm
from live.protocol.feed import Ended, Tick
from live.protocol.view_model import ViewModel
from live.views.page.colours import colours_css
from live.views.page.deltas import Told
from live.views.page.facts import SECONDS, PageFacts
from live.views.shared.palette import DARK, LIGHT
from replay.event import NS_PER_S
from tests.standins.feeds import PLAN, ScriptedFeed, two_sensors


def model_of(events, until_s, *more):
    feed = ScriptedFeed([[*events, Tick(until_s * NS_PER_S), *more]])
    model = ViewModel(feed)
    model.pump()
    return model


def quiet(seconds, from_s, sensor=2):
    """Two sensors of which one says nothing from some second on."""
    return [
        event
        for event in two_sensors(seconds)
        if event.sensor != sensor or event.t_ns < from_s * NS_PER_S
    ]


def test_rows_hold_what_the_far_view_holds():
    """Value, verdict and difference of the same second; nothing to say while all is well."""
    model = model_of(two_sensors(60), 60)
    state = PageFacts(PLAN).state(model, 0)
    assert (state["rows"], state["well"], state["warnings"]) == ([1, 2], True, [])
    first, second = state["row 1"], state["row 2"]
    status = model.snapshot().sensors[1]
    assert (first["label"], first["call"], first["detail"]) == ("Yarrow", "REF", "")
    assert (second["call"], second["bpm"]) == ("IN", f"{status.held_bpm:.0f}")
    assert int(second["detail"].replace("−", "-")) == round(status.difference_bpm)
    assert (second["large"], second["severity"], second["trouble"]) == ("", "", "")
    json.dumps(state, allow_nan=False)


def test_a_fault_is_told_in_its_row_and_in_the_list():
    """In two large words and the whole advice, with what calls; known, it calls no more."""
    model = model_of(quiet(90, 40), 90)
    state = PageFacts(PLAN).state(model, 0)
    row = state["row 2"]
    assert (row["large"], row["severity"], row["known"]) == ("WAKE SORREL", "caution", False)
    (warning,) = state["warnings"]
    assert (warning["sensor"], warning["kind"], warning["calls"]) == (2, "silent", True)
    assert state["well"] is False
    assert row["bpm"] == "–"


def test_addresses_and_files_stay_on_this_computer():
    """Where the advice is a source's own, which may name such things, a plainer one is told; of an
    alarm its headline and what to do.
    """
    alarm = Alarm("RECORDING ENDED", "/home/someone/a.sqlite holds 7 events", "Begin anew.")
    model = model_of(quiet(90, 40), 90, Ended(90 * NS_PER_S, "saving failed", alarm))
    state = PageFacts(PLAN).state(model, 0)
    assert "someone" not in json.dumps(state)
    assert state["alarm"] == {"headline": "RECORDING ENDED", "advice": "Begin anew."}
    assert state["ended"] == "saving failed"
    silent = next(one for one in state["warnings"] if one["kind"] == "silent")
    assert "the screen of the recording says more" in silent["advice"]


def test_nothing_is_held_once_the_recording_is_over_unasked():
    """No value stands there as if it were of now; the rows say why."""
    model = model_of(
        two_sensors(60), 60, Ended(60 * NS_PER_S, "x", Alarm("RECORDING ENDED", "", ""))
    )
    state = PageFacts(PLAN).state(model, 0)
    assert state["stale"] is True
    assert (state["row 2"]["bpm"], state["row 2"]["trouble"]) == ("–", "recording ended")


def test_errors_of_the_page_are_counted_where_the_viewer_sees_them():
    """The count stands below, with the sentence that the recording is not affected."""
    (note,) = PageFacts(PLAN).state(model_of(two_sensors(9), 9), 3)["notes"]
    assert note == "errors in this page: 3; the recording is not affected"


def test_the_drawing_has_gaps_where_there_is_no_value():
    """The last three minutes of closed seconds, ``None`` past a reading's age limit."""
    model = model_of(quiet(240, 200), 240)
    points = PageFacts(PLAN).points(model.board, 0)
    assert [second for second, _ in points] == list(
        range(model.board.second - SECONDS, model.board.second + 1)
    )
    assert points[-1][1][1] is None
    assert points[0][1][1] is not None
    grid = model.board.grid(1)
    assert points[-1][1][0] == round(int(grid[-1]) / 1000, 1)


def test_the_drawing_grows_by_what_is_new():
    """A second look at the same board adds its new seconds only, each once."""
    feed = ScriptedFeed([[*two_sensors(30), Tick(30 * NS_PER_S)], [Tick(33 * NS_PER_S)]])
    model, facts = ViewModel(feed), PageFacts(PLAN)
    model.pump()
    before = facts.points(model.board, 0)
    model.pump()
    after = facts.points(model.board, 0)
    assert after[: len(before)] == before
    seconds = [second for second, _ in after]
    assert seconds == sorted(set(seconds))
    assert len(after) > len(before)


def test_only_what_changed_is_sent():
    """All of it first; then the keys that changed and the new seconds; then nothing."""
    told = Told()
    state, points = {"a": 1, "b": [1]}, [(0, [1.0]), (1, [None])]
    assert told.news(state, points) == {"set": state, "points": [[0, 1.0], [1, None]]}
    assert told.news(dict(state), list(points)) == {}
    assert told.news({"a": 2}, [*points[1:], (2, [3.0])]) == {
        "set": {"a": 2}, "gone": ["b"], "points": [[2, 3.0]],
    }  # fmt: skip
    assert told.news({"a": 2}, [(0, [9.0])]) == {"afresh": True, "points": [[0, 9.0]]}


def test_a_usual_second_is_a_few_hundred_bytes():
    """What a phone is sent for one more second of a session that is well."""
    feed = ScriptedFeed([[*two_sensors(200), Tick(150 * NS_PER_S)], [Tick(151 * NS_PER_S)]])
    model, facts, told = ViewModel(feed), PageFacts(PLAN), Told()
    sizes = []
    for _ in range(2):
        model.pump()
        news = told.news(facts.state(model, 0), facts.points(model.board, 0))
        sizes.append(len(json.dumps(news)))
    assert sizes[1] < 600 < sizes[0] < 8000


def test_the_colours_are_the_projects_own():
    """Both themes, each colour by its name, the sensors' by number."""
    css = colours_css()
    light, dark = css.split("@media (prefers-color-scheme: dark)")
    for theme, text in ((LIGHT, light), (DARK, dark)):
        assert f"--alarm: {theme.alarm};" in text
        assert f"--band-core: {theme.band_core};" in text
        for index, colour in enumerate(theme.sensors):
            assert f"--sensor-{index}: {colour};" in text


def test_more_than_four_sensors_put_faults_first():
    """As in the far view: of many rows those at fault stand on top."""
    sensors = [replace(PLAN.sensors[1], label=f"Sorrel {n}", name=f"S{n}") for n in range(5)]
    plan = replace(PLAN, sensors=(PLAN.sensors[0], *sensors))
    feed = ScriptedFeed([[Tick(30 * NS_PER_S)]], plan=plan)
    model = ViewModel(feed)
    model.pump()
    rows = PageFacts(plan).state(model, 0)["rows"]
    assert sorted(rows) == [1, 2, 3, 4, 5, 6]
