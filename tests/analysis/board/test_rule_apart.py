"""Apart: outside the tolerance for long, on whichever side."""

from __future__ import annotations

import math
import random

import pytest

from analysis.board.rules.apart import Apart
from analysis.board.rules.base import UNTIL_NEWS
from analysis.board.session_state import SessionState
from replay.event import Event
from tests.standins.session_events import plan_of, planned, play, stream

END_S = 900
ONE = plan_of(planned("Yarrow", "reference"), planned("Sorrel"))


def _apart(session):
    return [Apart(session, test) for test in session.tests]


def _board(off, *, end_s=END_S, reference=140):
    """A steady reference and a sensor that is ``off(t)`` bpm off."""
    events = stream(2, 0.5, end_s, lambda t: reference + off(t))
    return play(ONE, stream(1, 0.2, end_s, reference), events, until_s=end_s, rules=_apart)


def _flips(every_s, by, since_s=100.0):
    """The error of a sensor that changes sides."""
    return lambda t: 0 if t < since_s else by if (t - since_s) // every_s % 2 else -by


@pytest.mark.parametrize(
    ("off", "words"), [(-25, ", below it, by 25 bpm"), (25, ", above it, by 25 bpm")]
)
def test_sensor_far_off_is_told_with_its_side(off: int, words: str) -> None:
    """Within a minute, with side and size; it ends when it has agreed in 41 of 45 s."""
    board = _board(lambda t: off if 100 < t < 220 else -1, end_s=400)
    (warning,) = board.warnings
    assert (warning.since_s, warning.start_s) == (101, 152)
    assert words in warning.cause
    assert "outside the tolerance of Yarrow for at least 1" in warning.cause
    assert "since 1:41" in warning.cause
    assert warning.end_s == 220 + 41
    assert warning.cleared == "It has agreed with Yarrow in at least 41 of 45 s."


@pytest.mark.parametrize("every_s", [25, 60])
def test_error_that_changes_sides_is_told_within_90_s(every_s: int) -> None:
    """±40 bpm, flipping for 15 min, is one warning from within 90 s on, and names both sides."""
    board = _board(_flips(every_s, 40), end_s=1000)
    (warning,) = board.warnings
    assert warning.start_s <= 190
    assert warning.since_s in (100, 101)
    assert warning.end_s is None
    assert "now above it, now below, by 40 bpm" in warning.cause


@pytest.mark.parametrize("every_s", [7, 15, 30])
def test_half_outside_for_long_is_told(every_s: int) -> None:
    """A sensor that is off in every other stretch is told within 3 min, once."""
    board = _board(lambda t: 30 if t > 100 and (t - 100) // every_s % 2 else 0)
    (warning,) = board.warnings
    assert 200 <= warning.start_s <= 290
    assert warning.end_s is None


@pytest.mark.parametrize(
    ("out_s", "of_s"), [(45, 200), (10, 30), (50, 600)], ids=["45 s", "a third", "50 s"]
)
def test_less_than_that_is_not_apart(out_s: int, of_s: int) -> None:
    """An error of less than 52 s, or of a third of the time, is a sensor's ordinary life."""
    assert _board(lambda t: 30 if t > 60 and (t - 60) % of_s < out_s else 0).warnings == ()


@pytest.mark.parametrize("off", [0, 8, 13, -13])
def test_sensor_inside_the_tolerance_is_not_apart(off: int) -> None:
    """A difference within the tolerance (10 % of 140 bpm) is never apart."""
    assert _board(lambda _: off, end_s=400).warnings == ()


@pytest.mark.parametrize("delay_s", [5, 12, 20])
def test_sensor_that_follows_late_is_not_apart(delay_s: int) -> None:
    """Being out of tolerance after each change of effort, by a delay, is not apart."""

    def hard(t: float) -> float:
        return 100 + (70 if math.sin(t / 20) > 0 else 0)

    board = play(
        ONE,
        stream(1, 0.2, END_S, hard),
        stream(2, 0.5, END_S, lambda t: hard(t - delay_s)),
        until_s=END_S,
        rules=_apart,
    )
    assert board.warnings == ()


def test_error_from_the_first_second_is_told() -> None:
    """It need never have agreed to be apart."""
    (warning,) = _board(lambda _: -40, end_s=200).warnings
    assert (warning.since_s, warning.start_s) == (1, 52)


def test_sentence_stays_true_while_it_stands() -> None:
    """The time in it is never longer than the error has lasted, and follows it by ten seconds."""
    for end_s in range(160, 400, 23):
        (warning,) = _board(lambda t: 30 if t > 100 else 0, end_s=end_s).warnings
        told_s = int(warning.cause.split("at least ")[1].split(" s")[0])
        assert end_s - 100 - 11 <= told_s <= end_s - 100


def test_silence_empties_what_was_seen() -> None:
    """48 s apart, 480 s of silence and 4 s apart are not one error of nine minutes."""
    silent = range(148, 628)
    events: list[Event] = [
        event
        for event in stream(2, 0.5, 632, lambda t: 140 if t < 100 else 170)
        if int(event.t_ns / 1e9) not in silent
    ]
    board = play(ONE, stream(1, 0.2, 632, 140), events, until_s=632, rules=_apart)
    assert board.warnings == ()


def test_reset_forgets() -> None:
    """What was seen before another rule explained it does not count afterwards."""
    session = SessionState(ONE)
    rule = Apart(session, session.tests[0])

    def see(seconds: range, value: int) -> list[int]:
        said = []
        for second in seconds:
            for sensor, held in zip(session.sensors, (140_000, value), strict=True):
                sensor.held.append(held)
            session.second = second
            said.append(int(rule.step(second)))
        return said

    assert 1 not in see(range(51), 170_000)
    rule.reset()
    assert 1 not in see(range(51, 102), 170_000)
    assert see(range(102, 103), 170_000) == [1]
    assert rule.since() == 51
    rule.reset()
    assert 1 not in see(range(103, 150), 140_000)
    assert 1 not in see(range(150, 201), 170_000)


@pytest.mark.parametrize("share", [0.44, 0.5, 0.62, 0.7])
def test_it_is_told_at_the_very_second_that_its_windows_are_full(share: float) -> None:
    """52 of the last 80 seconds outside, or 78 of the last 180, whichever is first; it began at the
    first of these.  Counted anew for sensors that are outside in stretches of some seconds.
    """
    by_window = set()
    for seed in range(36):
        source, outside = random.Random(seed), []
        while len(outside) < 420:
            outside += [source.random() < share] * source.randint(2, 9)
        off = [second for second, is_off in enumerate(outside) if is_off]
        expected = None
        for second in off:
            short = [at for at in off if second - 80 < at <= second]
            long = [at for at in off if second - 180 < at <= second]
            if len(short) >= 52 or len(long) >= 78:
                full = short if len(short) >= 52 else long
                expected = second, full[0]
                by_window.add(full is short)
                break
        session = SessionState(ONE)
        rule, told = Apart(session, session.tests[0]), None
        for second, is_off in enumerate(outside):
            for sensor, held in zip(
                session.sensors, (140_000, 170_000 if is_off else 140_000), strict=True
            ):
                sensor.held.append(held)
            session.second = second
            if rule.step(second) == 1:
                told = second, rule.since()
                break
        assert told == expected, seed
    assert by_window <= {True, False}
    assert by_window


@pytest.mark.parametrize(
    ("outside_s", "end_s", "sleeps"),
    [((), 45, False), ((), 46, True), ((20,), 201, False), ((20,), 202, True)],
)
def test_it_need_not_be_asked_once_all_agreed_for_long(outside_s, end_s, sleeps) -> None:
    """45 s, and three minutes after a second outside of the tolerance: until one is."""
    made = []

    def rules(session):
        made[:] = _apart(session)
        return made

    reference = stream(1, 0.2, end_s, 140)
    test = stream(2, 0.2, end_s, lambda t: 170 if int(t) in outside_s else 140)
    play(ONE, reference, test, until_s=end_s, rules=rules)
    assert (made[0].quiet_until == UNTIL_NEWS) is sleeps
