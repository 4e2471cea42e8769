"""Phases, zones, efforts, delays and errors in the record of a session."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.report.facts import session_facts
from analysis.session.clock_doubt import BY_ARRIVAL
from analysis.session.compute import compute_record, section_masks
from analysis.session.load import SessionData, session_data
from analysis.session.record import NO_EFFORTS, SessionRecord
from analysis.statistics.agreement import Tolerance
from analysis.statistics.delay import shifted
from analysis.statistics.efforts import Answer, Kind
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.phases import PHASES, ZONES, agreement_by, phase_masks, zone_masks
from analysis.statistics.stretch import Stretch
from analysis.statistics.summary import agreement_of
from analysis.study.row import row_of
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.message_form import MessageForm
from replay.payloads import encode_heart_rate
from replay.plan import Plan, PlannedSensor

SECONDS = 1800
PERIOD = 300
LATE_BY = 4
"""Seconds by which Sorrel lags behind in the invented session."""


def _heart(second: float) -> float:
    """Efforts of 150 s every 300 s: up by 60 bpm with 20 s, down with 40 s."""
    phase = second % PERIOD
    if second < 0:
        return 90.0
    if phase < 150:
        return 90 + 60 * (1 - math.exp(-phase / 20))
    return 90 + 60 * math.exp(-(phase - 150) / 40)


def _data(*, steady: bool = False) -> SessionData:
    plan = Plan(
        wearer="W2",
        activity="stair climbing with a pack",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", name="Yarrow"),
            PlannedSensor(label="Sorrel", role="test", name="Sorrel"),
            PlannedSensor(label="Tansy", role="test", name="Tansy"),
        ),
    )
    source = np.random.default_rng(11)
    events = []
    for second in range(SECONDS):
        t_ns = second * NS_PER_S + 300_000_000
        noise = source.normal(0, [0.3, 1.5, 3.0])
        bpm = [120.0] * 3 if steady else [_heart(second), _heart(second - LATE_BY), _heart(second)]
        if 600 <= second < 880 and not steady:
            bpm[2] = 100.0  # Tansy misses the third effort
        for number in range(3):
            value = round(bpm[number] + noise[number])
            events.append(Event(t_ns + number, number + 1, HEART_RATE, encode_heart_rate(value)))
    return session_data(plan, events, SECONDS * NS_PER_S)


@pytest.fixture(scope="module")
def data() -> SessionData:
    """An invented session of six efforts."""
    return _data()


@pytest.fixture(scope="module")
def record(data: SessionData) -> SessionRecord:
    """Its record."""
    return compute_record(data)


def part_of(parts, name):
    """The agreement over a named part."""
    return next(part.agreement for part in parts if part.name == name)


def answers(record, index, kind=Kind.EFFORT):
    """What a sensor made of each effort, or of each trough."""
    pairs = zip(record.efforts, record.sensors[index].responses, strict=True)
    return [response.answer for effort, response in pairs if effort.kind is kind]


def test_every_second_of_the_reference_has_one_phase_and_one_zone(data: SessionData) -> None:
    """Phases do not overlap and leave out the edges and gaps alone; zones cover every value."""
    ref = data.reference.grid.copy()
    ref[1000:1050] = NO_VALUE
    phases, zones = phase_masks(ref), zone_masks(ref)
    assert tuple(phases) == PHASES
    assert tuple(zones) == ZONES
    assert np.sum(list(phases.values()), axis=0).max() == 1
    assert not any(mask[1000:1050].any() for mask in [*phases.values(), *zones.values()])
    assert np.array_equal(np.sum(list(zones.values()), axis=0) == 1, ref != NO_VALUE)
    assert np.sum(list(phases.values())) > 1600


def test_phases_are_what_the_heart_was_doing(data: SessionData) -> None:
    """Onsets are rises, ends of work are falls, plateaus are steady, late recovery is rest."""
    phases = phase_masks(data.reference.grid)
    for onset in range(PERIOD, SECONDS - PERIOD, PERIOD):
        assert phases["rise"][onset + 5 : onset + 40].all()
        assert phases["steady"][onset + 90 : onset + 135].mean() > 0.9
        assert phases["fall"][onset + 160 : onset + 200].all()
        assert phases["rest"][onset + 280 : onset + 285].all()


def test_zones_are_thirds_of_the_sessions_own_range(data: SessionData) -> None:
    """The thirds rise with the heart rate and meet at a third of the 5th–95th percentile range."""
    ref = data.reference.grid
    zones = zone_masks(ref)
    edges = [ref[zones[name]] for name in ZONES]
    assert edges[0].max() < edges[1].min() <= edges[1].max() < edges[2].min()
    low, high = np.percentile(ref[ref != NO_VALUE], [5, 95])
    assert edges[1].min() >= low + (high - low) / 3


def test_an_empty_reference_has_no_phases() -> None:
    """Without a value, no second belongs to anything."""
    empty = np.full(60, NO_VALUE, np.int32)
    for masks in (phase_masks(empty), zone_masks(empty), phase_masks(empty[:3])):
        assert not any(mask.any() for mask in masks.values())


def test_agreement_by_part_is_agreement_of_those_seconds(data: SessionData) -> None:
    """Each part's numbers are those of its own pairs, and exclusions stay out of all of them."""
    ref, test = data.reference.grid, data.tests[0].grid
    kept = np.ones(len(ref), dtype=bool)
    kept[:300] = False
    tolerance = Tolerance(5, 10)
    zones = zone_masks(ref)
    parts = agreement_by(zones, ref, test, tolerance, kept)
    assert (
        sum(part.pairs for part in parts.values())
        == agreement_of(ref, test, tolerance, kept=kept).pairs
    )
    mask = zones["upper third"] & kept
    assert parts["upper third"].bias.value == pytest.approx(np.mean((test - ref)[mask]) / 1000)


def test_late_is_told_from_wrong(record: SessionRecord) -> None:
    """Sorrel is 4 s late; with that taken out, its error is a fraction of what it was."""
    sorrel = record.sensors[0]
    assert sorrel.delay.value == pytest.approx(LATE_BY, abs=0.5)
    rises = part_of(sorrel.phases, "rise")
    assert rises.bias.value < -3
    assert part_of(sorrel.phases, "steady").mae.value < 2
    assert sorrel.without_delay.rmse.value < 2
    assert sorrel.without_delay.rmse.value < 0.6 * rises.rmse.value


def test_the_delay_is_taken_out_of_the_reference(data: SessionData, record: SessionRecord) -> None:
    """Agreement without the delay is agreement with the reference shown as much later."""
    test, ref = data.tests[0].grid, data.reference.grid
    expected = agreement_of(shifted(ref, LATE_BY), test, Tolerance(5, 10))
    assert expected.mae.value == record.sensors[0].without_delay.mae.value


def test_the_missed_effort_is_named(record: SessionRecord) -> None:
    """Tansy followed all efforts but the third; Sorrel followed all."""
    efforts = [e for e in record.efforts if e.kind is Kind.EFFORT]
    assert [e.peak_s // PERIOD for e in efforts] == list(range(6))
    sorrel, tansy = (answers(record, index) for index in range(2))
    assert sorrel == [Answer.FOLLOWED] * 6
    assert tansy == [Answer.FOLLOWED] * 2 + [Answer.MISSED] + [Answer.FOLLOWED] * 3
    assert (record.sensors[1].efforts.missed.count, record.sensors[1].efforts.judged) == (1, 6)


def test_error_variances_are_given_with_their_caution(record: SessionRecord) -> None:
    """Three sensors have an error variance each, and the caution about shared errors stands by."""
    assert [one.sensor for one in record.error_variances] == [1, 2, 3]
    assert any("independent" in caution for caution in record.detail_cautions)


def test_sensors_on_two_clocks_have_no_delay(data: SessionData) -> None:
    """Without one clock no delay is claimed, whatever the series show."""
    sensors = compute_record(data, one_clock=False).sensors
    assert [sensor.number for sensor in sensors] == [2, 3]
    for sensor in sensors:
        assert sensor.delay.value is None
        assert "one clock" in sensor.delay.caution
        assert sensor.without_delay is None


@pytest.mark.parametrize("whose", [1, 2])
def test_a_delay_says_by_which_clock_it_is(
    data: SessionData, record: SessionRecord, whose: int
) -> None:
    """Where a sender told a time of its own, the delay is the same, by arrival, and says so."""
    one = data.sensors[whose]
    form = MessageForm(value="bpm", time="ts")
    told = replace(one, sensor=replace(one.sensor, source="mqtt", topic="gym/one", message=form))
    again = compute_record(replace(data, sensors={**data.sensors, whose: told}), ())
    before, after = record.sensors[0].delay, again.sensors[0].delay
    assert (after.value, after.interval) == (before.value, before.interval)
    assert after.value is not None
    assert (before.caution, after.caution) == ("", BY_ARRIVAL)
    rows = [row_of(one, "x").sensors[0] for one in (record, again)]
    assert [row.delay_s for row in rows] == [before.value] * 2  # a study counts it as before
    assert BY_ARRIVAL in session_facts(again, Path("x"))["sensors"][0]["delay_caution"]
    assert BY_ARRIVAL not in session_facts(record, Path("x"))["sensors"][0]["delay_caution"]


def test_exclusions_hide_efforts_and_pairs(data: SessionData) -> None:
    """An effort in an excluded stretch of the reference is not used; other sensors' stay."""
    dry = compute_record(data, exclusions=[Stretch(590, 880, "dry strap", 1)])
    assert [e.peak_s // PERIOD for e in dry.efforts if e.kind is Kind.EFFORT] == [0, 1, 3, 4, 5]
    off = compute_record(data, exclusions=[Stretch(590, 880, "taken off", 3)])
    assert answers(off, 1)[2] is Answer.UNSEEN


def test_a_steady_session_has_no_efforts_and_no_delay() -> None:
    """On a steady session neither efforts nor delays are made up, and it is said."""
    record = compute_record(_data(steady=True))
    assert record.efforts == ()
    assert NO_EFFORTS in record.detail_cautions
    assert all(sensor.delay.value is None for sensor in record.sensors)


def test_the_facts_are_plain_json(data: SessionData, record: SessionRecord) -> None:
    """The facts survive JSON unchanged, also of an empty session."""
    facts = session_facts(record, Path("a.sqlite"))
    assert facts == json.loads(json.dumps(facts, allow_nan=False))
    assert facts["sensors"][1]["efforts"]["missed"] == 1
    assert len(facts["sensors"][1]["responses"]) == len(facts["efforts"])
    low, high = facts["sensors"][0]["delay_s_interval"]
    assert low <= facts["sensors"][0]["delay_s"] <= high
    empty = compute_record(session_data(data.plan, [], 10 * NS_PER_S))
    facts = session_facts(empty, Path("a.sqlite"))
    json.dumps(facts, allow_nan=False)
    assert facts["error_variances"] == []


def _from(readings: dict[int, list[tuple[float, float]]], end_s: float, **sorrel) -> SessionData:
    """A session of these readings, (s, bpm) by sensor: the reference 1 and Sorrel, 2."""
    told = {"name": "Sorrel", **sorrel}
    plan = Plan(
        wearer="W2",
        activity="stair climbing with a pack",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", name="Yarrow"),
            PlannedSensor(label="Sorrel", role="test", **told),
        ),
    )
    events = [
        Event(round(at_s * NS_PER_S), number, HEART_RATE, encode_heart_rate(round(bpm)))
        for number, sent in readings.items()
        for at_s, bpm in sent
    ]
    return session_data(plan, sorted(events), round(end_s * NS_PER_S))


def test_markers_part_a_session_where_there_are_two() -> None:
    """From each to the next, the last one to the end; parts of one name are one.  One marker parts
    nothing, and sections that the tester drew come before markers.
    """
    data = _from({}, 99)
    assert section_masks(replace(data, markers=((10 * NS_PER_S, "row"),))) == {}
    markers = ((10, "row"), (30, ""), (30, "gone at once"), (60, "row"))
    marked = replace(data, markers=tuple((at_s * NS_PER_S, text) for at_s, text in markers))
    marked = replace(marked, markers=(*marked.markers[:1], *marked.markers[2:]))
    parts = {name: np.flatnonzero(mask).tolist() for name, mask in section_masks(marked).items()}
    assert parts == {
        "row": [*range(10, 30), *range(60, 99)], "gone at once": [*range(30, 60)],
    }  # fmt: skip
    drawn = replace(marked, sections=(Stretch(5, 9, "warm"), Stretch(20, 22, "warm")))
    (mask,) = section_masks(drawn).values()
    assert np.flatnonzero(mask).tolist() == [*range(5, 9), 20, 21]


@pytest.mark.parametrize(("readings", "is_said"), [(77, False), (76, True)])
def test_a_reference_that_was_missing_for_a_fifth_is_said(readings, is_said) -> None:
    """Held for 3 s, so many readings are 80 and 79 of 100 seconds; what is left out counts less."""
    data = _from({1: [(second, 100) for second in range(readings)]}, 99)
    record = compute_record(data, exclusions=[Stretch(0, 10, "dry", 1)])
    said = [one for one in record.cautions if one.startswith("The reference had a value in")]
    assert len(said) == is_said
    assert record.reference_usable_percent == readings + 3 - 10


def test_a_sensor_that_sends_seldom_is_compared_at_its_own_readings_too() -> None:
    """Each with the newest value of the reference that is not older than its time; what is left
    out of the grid is left out there.
    """
    ramp = [(second + 0.3, 100 + second % 50) for second in range(100) if not 40 <= second < 50]
    sent = [(at_s, bpm) for at_s, bpm in ((0.1, 90), (10.2, 109), (20.4, 120), (44.0, 150))]
    data = _from({1: ramp, 2: [*sent, (98.9, 148), (99.5, 160)]}, 99.6, hold_s=12)
    assert compute_record(_from({1: ramp, 2: sent}, 99)).sensors[0].at_readings is None
    (whole,) = compute_record(data).sensors
    assert whole.at_readings is not None
    assert (whole.at_readings.pairs, whole.at_readings.mae.value) == (4, 11 / 4)
    (without,) = compute_record(data, exclusions=[Stretch(99, 100, "taken off", 2)]).sensors
    assert without.at_readings is not None
    assert (without.at_readings.pairs, without.at_readings.mae.value) == (3, 0)


def test_a_sensor_without_a_clock_has_values_and_no_agreement() -> None:
    """Not with one of its readings: neither on the grid nor at its own times."""
    beats = [(second + 0.2, 100 + second) for second in range(60)]
    file = {"source": "file", "file": "a.fit", "alignment": "as recorded", "name": "", "hold_s": 12}
    record = compute_record(_from({1: beats, 2: beats}, 60, **file))
    (sorrel,) = record.sensors
    assert (sorrel.whole.pairs, sorrel.at_readings, record.closer) == (0, None, ())
    assert sorrel.facts.notifications == 60


def _late(seconds: int = 600) -> SessionData:
    """Sorrel is late, and its readings come at the end of each second; Yarrow's at its start."""
    heart = [(k + 0.05, _heart(k + 0.05)) for k in range(seconds)]
    late = [(k + 0.95, _heart(k + 0.95 - LATE_BY)) for k in range(seconds)]
    return _from({1: heart, 2: late}, seconds)


def test_the_delay_is_taken_out_by_how_much_older_the_values_on_the_grid_are() -> None:
    """Those of a sensor whose readings come at the end of each second are younger there."""
    (sorrel,) = compute_record(_late()).sensors
    assert sorrel.delay.value == pytest.approx(LATE_BY, abs=0.3)
    assert sorrel.without_delay is not None
    assert sorrel.without_delay.mae.value < 0.7


def test_a_delay_is_claimed_on_one_clock_alone() -> None:
    """On another the same series have none, and no effort is late."""
    (sorrel,) = compute_record(_late(), one_clock=False).sensors
    assert (sorrel.delay.value, sorrel.without_delay, sorrel.rising) == (None, None, None)
    assert "one clock" in sorrel.delay.caution
    assert {one.delay_s for one in sorrel.responses} == {None}


def test_error_variances_are_those_of_the_sensors_once_they_are_in_step(record) -> None:
    """Sorrel is late and not wrong by that; what it errs by is its noise and the rounding."""
    sorrel = next(one for one in record.error_variances if one.sensor == 2)
    assert sorrel.error.variance == pytest.approx(1.5**2 + 1 / 12, abs=1)


def test_what_was_kept_of_an_import_stands_with_the_clock() -> None:
    """As it was noted, and empty where that cannot be."""
    data = _from({}, 10)
    kept = {
        "offset_s_interval": [1, 2.5], "mae_as_recorded_bpm": 7, "mae_aligned_bpm": None,
        "problem": "too short",
    }  # fmt: skip
    told = replace(data, imports={2: kept, 1: {"offset_s_interval": [1, 2, 3], "problem": None}})
    first, second = compute_record(told).clocks
    assert (first.offset_s_interval, first.problem) == (None, "")
    assert (second.offset_s_interval, second.problem) == ((1.0, 2.5), "too short")
    assert (second.mae_as_recorded_bpm, second.mae_aligned_bpm) == (7.0, None)
