"""Silence, and sensors that never started."""

from __future__ import annotations

from itertools import accumulate

import numpy as np
import pytest

from analysis.board.rules.losses import chance_ns, lost_share
from analysis.board.rules.not_started import NotStarted
from analysis.board.rules.silent import Silent
from analysis.board.rules.thresholds import SILENT
from analysis.board.snapshot import Severity, WarningKind
from tests.standins.kinds.streams import steps
from tests.standins.session_events import S, hr, link, of_kind, plan_of, planned, play, stream

SORREL = 2


def _rule(session):
    return [Silent(session, sensor) for sensor in session.sensors]


def _not_started(session):
    return [NotStarted(session, sensor) for sensor in session.sensors]


def _silences(board):
    return of_kind(board, WarningKind.SILENT)


@pytest.mark.parametrize(("every_s", "found_s"), [(0.25, 6), (1.0, 6), (2.0, 7)])
def test_silence_is_raised_by_the_sensors_own_spacing(every_s: float, found_s: int) -> None:
    """Silence is told 5 to 8 s after the last notification, at any rate from 0.5 to 4 Hz."""
    last = 60 - every_s + 0.1
    board = play(
        plan_of(), stream(SORREL, 0.1, 60.1, 120, every_s=every_s), until_s=90, rules=_rule
    )
    (warning,) = _silences(board)
    assert warning.start_s - last <= found_s
    assert warning.since_s == int(last)
    assert (warning.end_s, warning.cleared) == (None, "")
    assert warning.severity is Severity.TEST_FAULT


@pytest.mark.parametrize(("lost", "told"), [(2, []), (3, [223])])
def test_a_slow_sensor_may_lose_two_in_a_row(lost: int, told: list[int]) -> None:
    """One that sends every 7 s is silent when the third in a row stays away, not when the one
    after two lost comes a little late.
    """
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", hold_s=10))
    after_s = 200.5 + 7 * (lost + 1) + 0.2
    sent = (stream(2, 4.5, 207.5, 120, every_s=7), stream(2, after_s, 300, 120, every_s=7))
    board = play(plan, *sent, until_s=300, rules=_rule)
    assert [warning.start_s for warning in _silences(board)] == told


def test_a_link_that_loses_much_is_no_slow_sensor() -> None:
    """A sensor of 1 Hz of which every third second is lost, four at times, is missed after 8 s."""
    kept = [hr(t + 0.5, SORREL, 120) for t in range(100) if t % 3 and t % 10 > 3]
    board = play(plan_of(), kept, until_s=130, rules=_rule)
    (warning,) = _silences(board)
    assert warning.start_s - kept[-1].t_ns / 1e9 <= 9


def test_short_gap_is_no_silence() -> None:
    """A gap of four seconds is not silence."""
    board = play(
        plan_of(),
        stream(SORREL, 0.5, 30, 120),
        stream(SORREL, 33.5, 60, 120),
        until_s=60,
        rules=_rule,
    )
    assert _silences(board) == []


def test_silence_clears_when_it_sends_again_and_not_for_one_notification() -> None:
    """One stray notification does not end a silence; sending again does, and says how long."""
    board = play(
        plan_of(),
        stream(SORREL, 0.5, 30, 120),
        [hr(45.0, SORREL, 120)],
        stream(SORREL, 70, 90, 121),
        until_s=90,
        rules=_rule,
    )
    (warning,) = _silences(board)
    assert warning.end_s == 73
    assert warning.cleared.startswith("Notifications arrive again")


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("quiet", "although its link is up"),
        ("lost", "link is down (lost)"),
        ("adapter off", "Bluetooth"),
    ],
)
def test_link_up_and_down_are_told_apart(state: str, words: str) -> None:
    """The sentence says whether the link is up, down, or the computer's radio is off."""
    board = play(
        plan_of(), stream(SORREL, 0.5, 30, 120), [link(31, SORREL, state)], until_s=60, rules=_rule
    )
    (warning,) = _silences(board)
    assert words in warning.cause


def test_sentence_follows_the_link_while_the_warning_stands() -> None:
    """When the link breaks during a silence, the one warning changes its sentence."""
    board = play(
        plan_of(),
        [link(0.2, SORREL, "streaming")],
        stream(SORREL, 0.5, 30, 120),
        [link(50, SORREL, "lost")],
        until_s=60,
        rules=_rule,
    )
    (warning,) = _silences(board)
    assert "link is down (lost)" in warning.cause
    assert warning.start_s < 40


def test_stopped_session_is_not_silence() -> None:
    """After the links were closed on purpose, nothing is expected."""
    board = play(
        plan_of(),
        stream(SORREL, 0.5, 30, 120),
        [link(30.2, SORREL, "stopped")],
        until_s=60,
        rules=_rule,
    )
    assert _silences(board) == []


@pytest.mark.parametrize(("last_s", "words"), [(31, "1 notification"), (60, "30 notifications")])
def test_unreadable_notifications_are_silence_and_named(last_s: int, words: str) -> None:
    """A sensor of which nothing can be read is silent, and the sentence counts the unreadable."""
    bad = [hr(t + 0.5, SORREL, 120)._replace(payload=b"\x01") for t in range(30, last_s)]
    board = play(plan_of(), stream(SORREL, 0.5, 30, 120), bad, until_s=60, rules=_rule)
    (warning,) = _silences(board)
    assert warning.cause == f"Sorrel has sent nothing readable for 30 s; {words} could not be read."
    never = play(plan_of(), bad, until_s=60, rules=_not_started).warnings
    assert [w.cause for w in never if w.sensor == SORREL] == [
        f"Sorrel has sent nothing readable in 60 s; {words} could not be read."
    ]


def test_wider_age_limit_is_waited_for() -> None:
    """A sensor planned to send rarely is silent only after its own age limit."""
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", hold_s=20))
    board = play(plan, stream(SORREL, 0.5, 300, 120, every_s=15), until_s=300, rules=_rule)
    assert _silences(board) == []


@pytest.mark.parametrize(("hold_s", "told_s"), [(3, 6), (10, 33)])
def test_one_that_was_heard_once_is_given_what_its_plan_says(hold_s: int, told_s: int) -> None:
    """Nothing is known of its spacing, nor of its losses: with an age limit of 10 s that it was
    planned with, three values in a row may stay away; with none of its own it is silent after 5 s.
    """
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", hold_s=hold_s))
    (warning,) = _silences(play(plan, [hr(0.5, SORREL, 120)], until_s=60, rules=_rule))
    assert warning.start_s == told_s


def test_a_slow_sensor_may_lose_its_second_and_third_notification() -> None:
    """One of 7 s; what stays away then is held against the spacing that is known by then."""
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", hold_s=10))
    sent = [hr(0.5, SORREL, 120)], stream(2, 21.5, 100, 120, every_s=7)
    (warning,) = _silences(play(plan, *sent, until_s=200, rules=_rule))
    assert 99 + 10 <= warning.start_s <= 99 + 32


def test_a_notification_at_the_very_start_is_one() -> None:
    """Heard at 0 s and never again: silent from 5 s on."""
    board = play(plan_of(), [hr(0, SORREL, 120)], until_s=20, rules=_rule)
    assert [(w.since_s, w.start_s) for w in _silences(board)] == [(0, 6)]


@pytest.mark.parametrize(("next_s", "end_s"), [(72.5, 73), (72.51, 74)])
def test_it_sends_again_while_no_notification_is_older_than_two_and_a_half_seconds(
    next_s: float, end_s: int
) -> None:
    """Four such seconds end a silence; a second with nothing younger does not count."""
    board = play(
        plan_of(),
        stream(SORREL, 0.5, 30, 120),
        [hr(69.5 + next_s - 72.5 if next_s == 72.5 else 69.49, SORREL, 120)],
        stream(SORREL, 72.5, 90, 121),
        until_s=90,
        rules=_rule,
    )
    (warning,) = _silences(board)
    assert warning.end_s == end_s


@pytest.mark.parametrize(
    ("source", "cause", "advice"),
    [
        ({"source": "mqtt", "topic": "a"}, "broker is out of reach.", "Check the network."),
        (
            {"source": "node", "node": "a", "name": "b"},
            "broker is out of reach.",
            "Check the network.",
        ),
        ({"source": "bluetooth", "name": "a"}, "Bluetooth is off.", "Switch Bluetooth on again."),
    ],
)
def test_what_is_off_is_named_by_the_source(source, cause, advice) -> None:
    """A radio that is off is switched on, a network is checked."""
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel", kind="", **source))
    board = play(
        plan, stream(2, 0.5, 30, 120), [link(31, 2, "adapter off")], until_s=60, rules=_rule
    )
    (warning,) = _silences(board)
    assert warning.cause.endswith(f"because this computer's {cause}")
    assert warning.advice == advice


def test_a_companion_is_silent_after_a_minute() -> None:
    """Feet may stand still."""
    plan = plan_of(planned("Yarrow", "reference"), planned("Strides", "companion"))
    events = [e._replace(sensor=2) for e in steps() if e.t_ns < 30 * S]
    board = play(plan, events, until_s=120, rules=_rule)
    (warning,) = _silences(board)
    assert (warning.sensor, warning.since_s, warning.start_s) == (2, 29, 90)
    assert warning.measures[0].threshold == 60


@pytest.mark.parametrize(("every", "start_s"), [(6, 9), (12, 6)])
def test_habit_is_what_nine_of_ten_spacings_keep_to(every: int, start_s: int) -> None:
    """A sensor that leaves one in six notifications out for 2.5 s is waited for three times as
    long; one in twelve is no habit.
    """
    times, now = [], 0.5
    for k in range(120):
        times.append(now)
        now += 2.5 if k % every == 0 else 1.0
    last = times[-1]
    board = play(plan_of(), [hr(t, SORREL, 120) for t in times], until_s=last + 30, rules=_rule)
    (warning,) = _silences(board)
    assert warning.start_s == int(last) + start_s


def test_unheard_sensor_is_not_started_within_ten_seconds() -> None:
    """A planned sensor that is never heard is told within 10 s, and cleared when it starts."""
    board = play(
        plan_of(),
        stream(1, 0.5, 60, 100),
        stream(2, 4.0, 60, 100),
        stream(3, 30.0, 60, 100),
        until_s=60,
        rules=_not_started,
    )
    (warning,) = board.warnings
    assert (warning.sensor, warning.since_s, warning.start_s, warning.end_s) == (3, 0, 8, 31)
    assert warning.cleared == "First heard after 30 s."


def test_link_in_the_making_is_given_more_time() -> None:
    """While a connection is being made, not started waits up to 20 s."""
    board = play(
        plan_of(),
        [link(1, 2, "connecting"), link(1, 3, "connecting")],
        stream(1, 0.5, 60, 100),
        stream(2, 15.0, 60, 100),
        until_s=60,
        rules=_not_started,
    )
    assert [(w.sensor, w.start_s) for w in board.warnings] == [(3, 20)]


def test_a_sensor_that_has_said_that_it_is_off_the_skin_is_silent_after_half_a_minute() -> None:
    """Until then it is expected to send seldom; one whose link is down is told as ever."""
    worn = stream(SORREL, 0.5, 60, 120, contact=True)
    off = [hr(60.5, SORREL, 120, contact=False)]
    (warning,) = _silences(play(plan_of(), worn, off, until_s=100, rules=_rule))
    assert (warning.since_s, warning.start_s) == (60, 91)
    lost = [link(61, SORREL, "lost")]
    (warning,) = _silences(play(plan_of(), worn, off, lost, until_s=100, rules=_rule))
    assert warning.start_s == 66


def _losing(every_s: float, one_in: int) -> list[float]:
    """When a sensor sends of which one notification in so many is lost."""
    return [0.5 + every_s * k for k in range(60) if k % one_in != one_in // 2]


@pytest.mark.parametrize(("one_in", "after_s"), [(60, 7), (6, 11)])
def test_a_sensor_of_two_seconds_is_missed_after_eight_or_ten(one_in: int, after_s: int) -> None:
    """However much its link loses, it is told with the fifth in a row that stays away."""
    times = _losing(2.0, one_in)
    events = [hr(t, SORREL, 120) for t in times]
    (warning,) = _silences(play(plan_of(), events, until_s=times[-1] + 30, rules=_rule))
    assert warning.start_s == int(times[-1]) + after_s


@pytest.mark.parametrize(
    ("one_in", "lost", "is_told"), [(60, 4, True), (8, 4, False), (8, 5, True)]
)
def test_what_a_link_loses_by_chance_is_no_silence(one_in: int, lost: int, is_told: bool) -> None:
    """One that loses one in eight loses four in a row every few hours; one that loses hardly any
    does not.
    """
    before = _losing(2.0, one_in)
    plan = plan_of(planned("Yarrow", "reference"), planned("Sorrel"))
    again = stream(SORREL, before[-1] + 2.0 * (lost + 1), 200, 120, every_s=2)
    board = play(plan, [hr(t, SORREL, 120) for t in before], again, until_s=200, rules=_rule)
    assert bool(_silences(board)) is is_told


@pytest.mark.parametrize(
    ("usual_s", "lost", "in_a_row"),
    [
        (1, 0, 0),
        (1, 3, 2),
        (1, 14, 3),
        (1, 15, 4),
        (1, 140, 6),
        (2, 17, 3),
        (2, 18, 4),
        (15, 140, 4),
    ],
)
def test_losses_by_chance_are_what_comes_oftener_than_once_in_a_hundred_hours(
    usual_s: int, lost: int, in_a_row: int
) -> None:
    """3600/usual (1 − p) p**(k + 1) an hour begin a run of more than k, p = lost/(330 + lost) of
    300 that came; never more than four, or than make seven seconds.
    """
    gaps = np.full(300, usual_s * S, np.int64)
    gaps[:lost] += usual_s * S
    assert chance_ns(gaps, SILENT) / S == pytest.approx((in_a_row + 1.2) * usual_s)


@pytest.mark.parametrize(("spacings", "lost"), [(1, 0), (2, 1), (7, 6), (8, 0)])
def test_the_share_that_is_lost_counts_gaps_that_are_no_silence(spacings: int, lost: int) -> None:
    """Of a sensor of 1 Hz up to six lost in a row, among 300 that came and 30 that are given."""
    gaps = np.full(300, S, np.int64)
    gaps[7] = spacings * S
    came = 300 if lost or spacings == 1 else 299
    assert lost_share(gaps) == pytest.approx(lost / (came + lost + 30))
    assert lost_share(gaps[:0]) == 0.0


@pytest.mark.parametrize(("since", "is_told"), [(200, False), (300, True)])
def test_what_was_lost_long_ago_is_forgotten(since: int, is_told: bool) -> None:
    """Counted are the last 300 notifications."""
    lossy = [0.5 + t for t in range(400) if t % 4]
    well = [lossy[-1] + 1 + t for t in range(since)]
    again = stream(SORREL, well[-1] + 6, well[-1] + 60, 120)
    sent = [hr(t, SORREL, 120) for t in (*lossy, *well)]
    board = play(plan_of(), sent, again, until_s=well[-1] + 60, rules=_rule)
    assert bool(_silences(board)) is is_told


@pytest.mark.parametrize(("since", "after_s"), [(285, 7), (286, 6)])
def test_the_last_three_hundred_gaps_are_counted_and_no_more(since: int, after_s: int) -> None:
    """With 15 losses among them four in a row are chance, so that 5.2 s are waited; with 14 three
    are, and the least is 5 s.
    """
    gaps = [1] * 20 + [2] * 15 + [1] * since
    times = [0.9, *accumulate(gaps, initial=1.9)]
    events = [hr(t, SORREL, 120) for t in times]
    (warning,) = _silences(play(plan_of(), events, until_s=times[-1] + 20, rules=_rule))
    assert warning.start_s == int(times[-1]) + after_s


def test_notifications_of_one_instant_leave_little_to_chance() -> None:
    """As after a stall: the spacing is next to nothing then, and what follows from it is bounded
    and found at once.
    """
    gaps = np.array(([0] * 9 + [10 * S]) * 30)
    assert 0 <= chance_ns(gaps, SILENT) <= SILENT.most_s * S + 2


def test_of_few_notifications_or_of_a_silence_no_chance_is_known() -> None:
    """Fewer than 30 gaps tell nothing; a gap of nine spacings is no loss by chance."""
    gaps = np.full(30, S, np.int64)
    gaps[::3] = 2 * S
    assert chance_ns(gaps[:29], SILENT) == 0
    assert chance_ns(gaps, SILENT) == round(7.2 * S)
    gaps[::3] = 9 * S
    assert chance_ns(gaps, SILENT) == round(1.2 * S)
