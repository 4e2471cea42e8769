"""Contact lost, the reference lost, and low batteries."""

from __future__ import annotations

import pytest

from analysis.board.rules.base import BAD, GOOD, UNSURE
from analysis.board.rules.contact import NoContact
from analysis.board.rules.levels import LowBattery
from analysis.board.rules.reference_lost import ReferenceLost
from analysis.board.session_state import SessionState
from analysis.board.snapshot import Severity, WarningKind
from replay import event as ev
from replay.event import Event
from tests.standins.session_events import S, hr, link, of_kind, plan_of, planned, play, stream


def _contact(session):
    return [NoContact(session, sensor) for sensor in session.sensors]


def _beats(bpm: float):
    return lambda _t: [round(60 * 1024 / bpm)] * 2


@pytest.mark.parametrize("every_s", [0.25, 1.0, 2.0])
@pytest.mark.parametrize(
    ("bpm", "contact", "words"),
    [
        (120, False, "no skin contact"),
        (0, None, "0 bpm"),
        (0, True, "0 bpm"),
        (250, None, "no heart has"),
    ],
)
def test_lost_contact_is_raised_within_ten_seconds(every_s, bpm, contact, words) -> None:
    """Contact bits, a bpm of 0 and a bpm out of range are told within seconds, at any rate."""
    board = play(
        plan_of(),
        stream(2, 0.3, 40.3, 120, every_s=every_s, contact=None if contact is None else True),
        stream(2, 40.3, 60.3, bpm, every_s=every_s, contact=contact),
        stream(2, 60.3, 90, 120, every_s=every_s, contact=None if contact is None else True),
        until_s=90,
        rules=_contact,
    )
    (warning,) = board.warnings
    assert warning.since_s in (41, 42)
    assert 43 <= warning.start_s <= (50 if bpm == 250 else 45)
    assert words in warning.cause
    assert warning.end_s is not None
    assert 64 <= warning.end_s <= 73
    assert warning.cleared == "Contact is back: 120 bpm."


def test_flicker_of_contact_is_not_raised() -> None:
    """Contact that flickers for a second or two is no warning, and makes no flicker of warnings."""
    readings = [hr(k + 0.5, 2, 120, contact=k % 6 > 1) for k in range(120)]
    assert play(plan_of(), readings, until_s=120, rules=_contact).warnings == ()


def test_bursts_of_doubled_beats_are_not_lost_contact() -> None:
    """A bpm out of range for some seconds, again and again, is no flicker of warnings."""
    readings = [hr(k + 0.5, 1, 250 if k % 20 < 5 else 150) for k in range(400)]
    assert play(plan_of(), readings, until_s=400, rules=_contact).warnings == ()


@pytest.mark.parametrize(("every_s", "zeros", "told"), [(2, 1, 0), (4, 1, 0), (4, 2, 1)])
def test_one_zero_is_no_lost_contact(every_s, zeros, told) -> None:
    """A single bpm of 0 from a sensor that sends every 2 or 4 s is a slip; a second one is not."""
    readings = [
        hr(every_s * k + 0.5, 2, 0 if 20 <= k < 20 + zeros else 120) for k in range(40)
    ]  # fmt: skip
    board = play(plan_of(), readings, until_s=40 * every_s, rules=_contact)
    assert len(board.warnings) == told


def test_strap_that_reports_no_beats_is_off_the_skin() -> None:
    """A strap that goes on sending bpm without a beat is told, since it is off the skin."""
    board = play(
        plan_of(),
        stream(1, 0.5, 60, 120, rr=_beats(120)),
        stream(1, 60.5, 80, 118),
        stream(1, 80.5, 100, 120, rr=_beats(120)),
        until_s=100,
        rules=_contact,
    )
    (warning,) = board.warnings
    assert (warning.sensor, warning.severity) == (1, Severity.REFERENCE_FAULT)
    assert (warning.since_s, warning.start_s) == (59, 66)
    assert "no beat for 20 s" in warning.cause
    assert warning.end_s == 83


@pytest.mark.parametrize(
    ("sensor", "every_s", "start_s"),
    [
        (1, 1.0, 106),  # more than 6 s without a beat, the last at 99 s
        (2, 1.0, 106),  # of a test sensor 7 s, in which its bpm stood still
        (1, 2.0, 107),  # four readings without a beat: 101, 103, 105 and 107 s
        (1, 3.0, 109),  # beats every 3 s are just usual enough: 100, 103, 106 and 109 s
        (1, 3.5, None),  # and every 3.5 s not: by habit it leaves them out for more than half
    ],
)
def test_no_beats_are_told_to_the_second(sensor: int, every_s: float, start_s: int | None) -> None:
    """By time and by readings, and only of a sensor that has beats by habit."""
    first = {1.0: 1.0, 2.0: 1.0, 3.0: 1.0, 3.5: 1.5}[every_s]
    events = stream(sensor, first, 100.1, 120, every_s=every_s, rr=_beats(120))
    after = events[-1].t_ns / S + every_s
    board = play(
        plan_of(),
        events,
        stream(sensor, after, 130, 120, every_s=every_s),
        until_s=130,
        rules=_contact,
    )
    assert [w.start_s for w in board.warnings] == ([] if start_s is None else [start_s])


def test_each_second_with_a_valid_value_is_good() -> None:
    """A warning that stands can end at any of them."""
    said = []

    def rules(session):
        rule = NoContact(session, session.sensors[1])
        step = rule.step
        rule.step = lambda second: said.append(step(second)) or said[-1]
        return [rule]

    play(plan_of(), stream(2, 0.5, 40, 120, contact=True), until_s=40, rules=rules)
    assert set(said[1:]) == {GOOD}


@pytest.mark.parametrize(("moves", "told"), [(0, [2]), (1, [])])
def test_held_value_without_beats_is_off_the_skin(moves: int, told: list[int]) -> None:
    """A test sensor whose RR stop while its bpm stands still is off the skin; one whose bpm goes
    on only holds its RR back.
    """
    board = play(
        plan_of(),
        stream(2, 0.4, 60, 140, rr=_beats(140)),
        stream(2, 60.4, 90, lambda t: 140 + moves * (int(t) // 4 % 2)),
        until_s=90,
        rules=_contact,
    )
    assert [w.sensor for w in board.warnings] == told
    assert all(w.start_s <= 70 and "no beat" in w.cause for w in board.warnings)


def test_sensor_that_seldom_sends_beats_is_not_accused() -> None:
    """Missing beats say nothing of a sensor that often leaves them out, or of a test sensor whose
    bpm goes on.
    """
    board = play(
        plan_of(),
        stream(1, 0.5, 200, 120, rr=lambda t: [512] if int(t) % 5 == 0 else []),
        stream(2, 0.6, 60, 120, rr=_beats(120)),
        stream(2, 60.6, 200, lambda t: 120 + int(t) // 5 % 2),
        until_s=210,
        rules=_contact,
    )
    assert board.warnings == ()


def _lost(session):
    return [ReferenceLost(session, session.reference)]


def test_reference_without_valid_values_is_lost() -> None:
    """A reference that had values and has none for 10 s is lost; three good seconds end it."""
    board = play(
        plan_of(),
        stream(1, 0.5, 30, 120),
        stream(1, 30.5, 60, 250),
        stream(1, 60.5, 90, 121),
        stream(2, 0.5, 90, 118),
        until_s=90,
        rules=_lost,
    )
    (warning,) = board.warnings
    assert (warning.kind, warning.severity) == (
        WarningKind.REFERENCE_LOST,
        Severity.REFERENCE_FAULT,
    )
    assert (warning.since_s, warning.start_s, warning.end_s) == (33, 42, 63)
    assert warning.cause == (
        "Yarrow (reference) has given no valid value for 28 s, while Sorrel goes on."
    )
    assert warning.cleared == "The reference has a value again: 121 bpm."


def test_reference_that_never_had_a_valid_value_is_lost_since_the_start() -> None:
    """Heard from the very first instant on, with what no heart has."""
    (warning,) = play(plan_of(), stream(1, 0, 30, 250), until_s=29, rules=_lost).warnings
    assert (warning.since_s, warning.start_s) == (0, 9)
    assert warning.cause == (
        "Yarrow (reference) has given no valid value for 30 s, and no other sensor has one either."
    )


def test_reference_lost_gives_way_to_a_rule_that_knows_the_cause() -> None:
    """With all rules, a silent reference is silent, and not lost as well."""
    board = play(
        plan_of(),
        stream(1, 0.5, 30, 120),
        stream(2, 0.5, 90, 118),
        stream(3, 0.5, 90, 117),
        until_s=90,
    )
    assert [w.kind for w in board.warnings if w.sensor == 1] == [WarningKind.SILENT]


def test_malformed_reference_is_told_once() -> None:
    """A reference of which nothing can be read gets one warning, not three."""
    bad = [hr(t + 0.5, 1, 120)._replace(payload=b"\x01") for t in range(90)]
    board = play(plan_of(), bad, stream(2, 0.5, 90, 118), stream(3, 0.5, 90, 117), until_s=90)
    assert [w.kind for w in board.warnings if w.sensor == 1] == [WarningKind.NOT_STARTED]


def test_stopped_reference_is_not_lost() -> None:
    """When the session closes the links, the reference is not lost."""
    board = play(
        plan_of(), stream(1, 0.5, 30, 120), [link(30, 1, "stopped")], until_s=60, rules=_lost
    )
    assert board.warnings == ()


def test_low_battery_has_hysteresis() -> None:
    """A battery is low from 15 % down and fine from 20 % up; between, nothing changes."""
    charges = [(5, 16), (10, 15), (20, 18), (30, 15), (40, 20), (50, 17)]
    events = [Event(t * S, 2, ev.BATTERY, bytes([percent])) for t, percent in charges]
    board = play(
        plan_of(),
        events,
        until_s=60,
        rules=lambda session: [LowBattery(session, s) for s in session.sensors],
    )
    (warning,) = of_kind(board, WarningKind.LOW_BATTERY, 2)
    assert (warning.start_s, warning.end_s, warning.severity) == (10, 40, Severity.NOTICE)
    assert warning.cleared == "It reports 20 % of charge."


@pytest.mark.parametrize(
    ("sensor", "bpm", "contact", "found_by"),
    [(2, 0, None, 47), (2, 120, False, 47), (1, 0, None, 47), (1, 120, False, 6)],
)
def test_a_sensor_that_looks_for_the_heart_is_acquiring(sensor, bpm, contact, found_by) -> None:
    """0 in the first 40 s is no fault, nor an optical contact bit; a strap's bit is, at once."""
    board = play(
        plan_of(), stream(sensor, 0.3, 60, bpm, contact=contact), until_s=60, rules=_contact
    )
    (warning,) = board.warnings
    assert found_by - 4 <= warning.start_s <= found_by
    early = play(
        plan_of(), stream(sensor, 0.3, 20, bpm, contact=contact), until_s=20, rules=_contact
    )
    status = early.snapshot().sensors[sensor - 1]
    assert status.is_acquiring is (found_by > 40)
    assert (status.state == "acquiring") is (found_by > 40)


@pytest.mark.parametrize(("until_s", "told"), [(40, []), (50, [51])])
def test_of_a_slow_sensor_no_more_is_known_until_the_next_reading(until_s, told) -> None:
    """One that sends every 12 s and found the heart after 40 s says so at 48 s; 0 then is told."""
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", hold_s=18))
    sent = [hr(t + 0.3, 2, 0 if t < until_s else 70) for t in range(0, 120, 12)]
    board = play(plan, sent, until_s=120, rules=_contact)
    assert [warning.start_s for warning in board.warnings] == told
    early = play(plan, sent, until_s=45, rules=_contact)
    assert early.snapshot().sensors[1].is_acquiring


def test_a_sensor_that_has_found_the_heart_is_not_acquiring_any_more() -> None:
    """Within the first 40 s, too, a contact that was there and is lost is told."""
    board = play(
        plan_of(), stream(2, 0.3, 10, 120), stream(2, 10.3, 30, 0), until_s=30, rules=_contact
    )
    assert [w.start_s <= 15 for w in board.warnings] == [True]
    assert not board.snapshot().sensors[1].is_acquiring


def test_isolated_notifications_off_the_skin_are_named_as_such() -> None:
    """A strap off the skin that sends now and then, with RR of no heart, is not called silent."""
    board = play(
        plan_of(),
        stream(1, 0.3, 60, 120, contact=True),
        stream(1, 60.3, 120, 120, contact=False, rr=lambda _: [4096], every_s=9),
        stream(2, 0.5, 120, 120),
        stream(3, 0.7, 120, 120),
        until_s=118,
    )
    (warning,) = [w for w in board.warnings if w.sensor == 1]
    assert warning.kind is WarningKind.NO_CONTACT
    assert warning.since_s <= 61
    assert warning.start_s <= 72
    assert "no skin contact" in warning.cause
    assert "RR that no heart has" in warning.cause


def test_reset_forgets_lost_contact() -> None:
    """What was explained by another warning counts for nothing afterwards."""
    session = SessionState(plan_of())
    rule = NoContact(session, session.sensors[1])
    for second in range(60):
        session.sensors[1].take(second * S, hr(second, 2, 120 if second < 55 else 0))
        session.sensors[1].close_second(second)
        verdict = rule.step(second)
        session.sensors[1].fresh = []
    assert verdict is BAD
    rule.reset()
    session.sensors[1].take(60 * S, hr(60, 2, 0))
    assert rule.step(60) is UNSURE


@pytest.mark.parametrize(("beats", "told"), [(20, False), (21, True)])
def test_twenty_gaps_between_beats_make_them_usual(beats, told) -> None:
    """Before that their absence says nothing: some sensors never send RR."""
    board = play(
        plan_of(),
        stream(1, 0.5, 0.5 + beats, 120, rr=_beats(120)),
        stream(1, 0.5 + beats, 60, 120),
        until_s=60,
        rules=_contact,
    )
    assert bool(board.warnings) is told


@pytest.mark.parametrize(("regular_s", "told"), [(45, False), (65, True)])
def test_what_is_usual_is_that_of_the_last_sixty_gaps(regular_s, told) -> None:
    """A strap that sent a beat every 5 s, and then each second for so long, before it stopped."""
    end_s = 400 + regular_s
    board = play(
        plan_of(),
        stream(1, 0.5, 400, 120, rr=lambda t: [512] if int(t) % 5 == 0 else []),
        stream(1, 400.5, end_s, 120, rr=_beats(120)),
        stream(1, end_s + 0.5, end_s + 40, 120),
        until_s=end_s + 40,
        rules=_contact,
    )
    assert bool(board.warnings) is told


@pytest.mark.parametrize(
    ("rr", "odd"),
    [
        ([235], True),
        ([236], False),
        ([2560], False),
        ([2561], True),
        ([500, 3000], True),
        ([], False),
    ],
)
def test_rr_of_no_heart_are_named_beside_a_contact_bit(rr, odd) -> None:
    """Shorter than at 260 bpm, or longer than at 24."""
    board = play(
        plan_of(), stream(1, 0.5, 60, 120, contact=False, rr=lambda _: rr), until_s=60,
        rules=_contact,
    )  # fmt: skip
    (warning,) = board.warnings
    assert warning.cause.endswith("and sends RR that no heart has.") is odd
