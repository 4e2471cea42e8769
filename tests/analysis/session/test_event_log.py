"""The notifications around an instant and what was made of them."""

from __future__ import annotations

import pytest

from analysis.board import Board
from analysis.session.event_log import Outcome, notifications, values_in, who
from analysis.session.index import read_index
from analysis.statistics.pairing import NO_VALUE
from replay.capture import Capture
from replay.event import (
    BATTERY,
    DOUBLED,
    HEART_RATE,
    LINK,
    MARKER,
    MQTT_HEART_RATE,
    NS_PER_S,
    Event,
)
from tests.standins.feeds import PLAN, beat, two_sensors, written


def at(second, sensor, channel, payload):
    return Event(round(second * NS_PER_S), sensor, channel, payload)


EVENTS = [
    at(0, 2, LINK, b"streaming"),
    at(1.0, 2, BATTERY, b"\x50"),
    beat(1.1, 1, 100),
    beat(1.2, 2, 101),
    beat(1.6, 2, 102),
    at(1.61, 2, DOUBLED, bytes([0x06, 102])),
    at(2.1, 1, HEART_RATE, b"\x10"),
    at(2.2, 2, HEART_RATE, bytes([0x04, 103])),
    at(2.3, 1, HEART_RATE, b"\x00\x00"),
    at(2.4, 1, HEART_RATE, b"\x00\xfa"),
    beat(200.0, 2, 104),
]


@pytest.fixture
def capture(tmp_path):
    with Capture.open(written(tmp_path / "c.sqlite", EVENTS, end_s=201)) as opened:
        yield opened


def test_each_notification_tells_what_became_of_it(capture):
    """Held, passed, doubled, malformed and not valid are told apart, with the reason."""
    found = notifications(capture, 0, 3 * NS_PER_S)
    assert [one.outcome for one in found] == [
        Outcome.NOTED,
        Outcome.NOTED,
        Outcome.HELD,
        Outcome.PASSED,
        Outcome.HELD,
        Outcome.DOUBLED,
        Outcome.MALFORMED,
        Outcome.NOT_VALID,
        Outcome.NOT_VALID,
        Outcome.NOT_VALID,
    ]
    assert found[6].why == "byte 1: the bpm are missing"
    assert "no skin contact" in found[7].why
    assert found[8].why.startswith("0 bpm")
    assert found[9].why == "250 bpm is not within 25 to 240 bpm"
    assert found[5].channel == HEART_RATE


def test_a_value_is_held_for_the_plan_s_time_and_no_longer(capture):
    """A reading at 1.1 s with 3 s of hold is the value at seconds 2, 3 and 4."""
    held = notifications(capture, 0, 3 * NS_PER_S)[2]
    assert (held.from_s, held.to_s) == (2, 5)
    assert held.why == "seconds 2 to 4"


def test_spacing_reaches_back_over_any_gap(capture):
    """The spacing is that to the last one of the same sensor and channel, however long ago."""
    (one,) = notifications(capture, 199 * NS_PER_S, 201 * NS_PER_S)
    assert one.spacing_ns == round(197.8 * NS_PER_S)
    assert [one.spacing_ns for one in notifications(capture, -5, 2 * NS_PER_S)[:4]] == [None] * 4


@pytest.mark.parametrize(
    ("sent_s", "asked_s"),
    [([], []), ([90, 100], [(70, 100)]), ([100], [(70, 100), (0, 70)])],
)
def test_a_capture_is_searched_no_further_back_than_is_needed(
    tmp_path, monkeypatch, sent_s, asked_s
):
    """Half a minute first, where nearly all are; eight hours are read for a rare one alone."""
    events = [*EVENTS[:-1], *(beat(second, 2, 104) for second in sent_s)]
    with Capture.open(written(tmp_path / "c.sqlite", events, end_s=201)) as capture:
        events_of, asked = capture.events, []

        def noted(from_ns, until_ns):
            asked.append((from_ns / NS_PER_S, until_ns / NS_PER_S))
            return events_of(from_ns, until_ns)

        monkeypatch.setattr(capture, "events", noted)
        found = notifications(capture, 100 * NS_PER_S, 101 * NS_PER_S)
    assert asked[1:] == asked_s
    assert [one.spacing_ns is not None for one in found] == [True] * len(sent_s[-1:])


def test_the_session_s_own_events_are_shown_if_they_are_asked_for(tmp_path):
    """They are of nobody; else the first event of each sensor is, from the very start on."""
    events = [at(0, 0, MARKER, b"warm"), *EVENTS]
    with Capture.open(written(tmp_path / "c.sqlite", events, end_s=201)) as capture:
        shown = notifications(capture, 0, NS_PER_S)
        assert [who(PLAN, one.event) for one in shown] == ["Sorrel"]
        own = notifications(capture, 0, NS_PER_S, sensors=frozenset({0}))
        assert [who(PLAN, one.event) for one in own] == ["session"]


def test_the_index_knows_the_same_spacings(capture):
    """With the times of a whole reading, spacings are those of searching the file."""
    index = read_index(capture.path)
    for start in (0, 2, 150):
        span = start * NS_PER_S, 201 * NS_PER_S
        searched = notifications(capture, *span)
        assert notifications(capture, *span, before=index.before) == searched


def test_sensors_can_be_chosen(capture):
    """Only the notifications of the sensors asked for come back."""
    found = notifications(capture, 0, 3 * NS_PER_S, sensors=frozenset({1}))
    assert {one.event.sensor for one in found} == {1}


def test_held_values_are_those_of_the_board(tmp_path):
    """At every grid second the inspector names the very reading that the board holds there."""
    events = two_sensors(120)
    events = [e for e in events if not (e.sensor == 2 and 40 <= e.t_ns / NS_PER_S < 50)]
    events.append(Event(60 * NS_PER_S, 2, MQTT_HEART_RATE, b"133"))  # at the second itself
    events.sort(key=lambda event: event.t_ns)
    path = written(tmp_path / "c.sqlite", events, end_s=120)
    board = Board(PLAN)
    for event in events:
        board.feed(event)
    board.finish(120 * NS_PER_S)
    with Capture.open(path) as capture:
        found = notifications(capture, 0, 121 * NS_PER_S)
    for second in range(121):
        held = values_in(found, second)
        for number in (1, 2):
            value = int(board.grid(number)[second])
            if value == NO_VALUE:
                assert number not in held, second
            else:
                payload = held[number].event.payload
                bpm = int(payload) if payload == b"133" else payload[1]
                assert bpm * 1000 == value, second
