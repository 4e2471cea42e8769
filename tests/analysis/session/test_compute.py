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
from analysis.session.compute import compute_record
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
