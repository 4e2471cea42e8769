"""Evidence of repetition, change by change."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from analysis.board.rules.echo import Echo
from analysis.board.rules.streams import Stream
from analysis.board.rules.thresholds import RELAY
from analysis.board.session_state import SessionState
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from tests.standins.session_events import hear, plan_of


def _echo(shown: Iterable[tuple[float, int]]) -> Echo:
    """Of a sensor that has come to these bpm at these seconds."""
    stream = Stream(SessionState(plan_of()).reference)
    for second, (at_s, bpm) in enumerate(shown):
        hear(stream.sensor, [(round(at_s * NS_PER_S), HeartRate(mbpm=1000 * bpm))])
        stream.look(second)
    return Echo(stream, RELAY)


def _take(echo: Echo, *changes: tuple[float, int], weight: float = 1.0) -> None:
    for at_s, bpm in changes:
        echo.take((round(at_s * NS_PER_S), 1000 * bpm, weight))


def _rise(count: int) -> list[tuple[float, int]]:
    return [(10.0 * at, 100 + at) for at in range(count)]


def _later(shown: Iterable[tuple[float, int]], lag_s: float = 0.4) -> list[tuple[float, int]]:
    return [(at_s + lag_s, bpm) for at_s, bpm in shown]


def test_each_value_that_was_shown_adds_its_weight_less_what_is_chance() -> None:
    """One that was shown twice within 6 s is met at any lag in two of five cases."""
    echo = _echo([(1.0, 100), (2.0, 101), (3.0, 100)])
    _take(echo, (1.6, 100))
    assert echo.score == pytest.approx(0.8)
    _take(echo, (3.6, 100), weight=0.5)
    assert echo.score == pytest.approx(0.8 + 0.5 * 0.6)
    assert list(echo.lags) == [pytest.approx(0.6)] * 2


def test_what_came_six_seconds_before_is_a_lag_and_before_that_it_is_not() -> None:
    """A relay hands on within seconds."""
    for at_s, found in ((7.0, 1), (7.001, 0)):
        echo = _echo([(1.0, 100)])
        _take(echo, (at_s, 100))
        assert len(echo.lags) == found


def test_what_came_later_counts_within_the_same_second_alone() -> None:
    """The order of arrivals in one second is not certain."""
    for at_s, found in ((2.2, [-0.5]), (1.99, [])):
        echo = _echo([(2.7, 100)])
        _take(echo, (at_s, 100))
        assert list(echo.lags) == [pytest.approx(lag) for lag in found]


def test_no_value_that_was_shown_once_is_repeated_twice() -> None:
    """The second time it is a value of its own, whatever came in between."""
    echo = _echo([(1.0, 100), (1.5, 101)])
    _take(echo, (1.6, 100), (1.8, 101), (2.2, 100))
    assert (echo.score, echo.unlike) == (0.0, 1)
    _take(echo, (2.4, 100))
    assert echo.unlike == 2
    echo = _echo([(1.0, 100)])
    _take(echo, (1.6, 100), (1.8, 180), (2.2, 100))
    assert (len(echo.lags), echo.unlike) == (0, 2)


@pytest.mark.parametrize(("lag_s", "found"), [(1.0, True), (1.001, False), (-0.15, True)])
def test_four_lags_make_one_usual_from_which_no_other_may_lie_far(lag_s, found) -> None:
    """Not by more than six tenths of a second."""
    shown = _rise(5)
    echo = _echo(shown)
    _take(echo, *_later(shown[:4]), *_later(shown[4:], lag_s))
    assert (len(echo.lags) == 5) is found
    assert echo.score == pytest.approx(4.0 if found else 0.2)


@pytest.mark.parametrize(("before", "found"), [(3, True), (4, False)])
def test_with_fewer_lags_any_is_as_good(before, found) -> None:
    """As yet there is no usual one."""
    shown = _rise(before + 1)
    echo = _echo(shown)
    _take(echo, *_later(shown[:-1]), *_later(shown[-1:], 3.0))
    assert (len(echo.lags) == before + 1) is found


def test_the_newest_fifteen_lags_have_a_middle() -> None:
    """None is no lag at all."""
    shown = _rise(16)
    echo = _echo(shown)
    assert echo.lag_s == 0.0
    _take(echo, *_later(shown[:1], 0.1), *_later(shown[1:], 0.2))
    assert list(echo.lags) == [pytest.approx(0.2)] * 15
    assert echo.lag_s == pytest.approx(0.2)
    echo.forget()
    assert (echo.score, echo.lag_s, echo.is_followed) == (0.0, 0.0, False)


def test_the_evidence_has_an_end() -> None:
    """Twice of what is asked for: what then is unlike must count soon."""
    shown = _rise(20)
    echo = _echo(shown)
    _take(echo, *_later(shown))
    assert echo.score == 2 * RELAY.raise_at


def test_a_value_of_its_own_takes_three_and_with_the_last_of_it_the_lags() -> None:
    """What has evidence left keeps its lags."""
    shown = _rise(5)
    echo = _echo(shown)
    _take(echo, *_later(shown), (60.0, 180))
    assert (echo.score, len(echo.lags)) == (pytest.approx(1.0), 5)
    _take(echo, (61.0, 181))
    assert (echo.score, len(echo.lags)) == (0.0, 0)


def test_changes_of_its_own_are_counted_and_each_repeated_one_takes_two_away() -> None:
    """Down to none, and up to forty."""
    shown = _rise(4)
    echo = _echo(shown)
    _take(echo, *[(0.1, 180)] * 5)
    assert echo.unlike == 5
    told = []
    for change in _later(shown):
        _take(echo, change)
        told.append(echo.unlike)
    assert told == [3, 1, 0, 0]
    _take(echo, *[(50.0, 180)] * 2)
    assert echo.unlike == 2
    _take(echo, *[(50.0, 180)] * 60)
    assert echo.unlike == 2 * RELAY.clear_unlike
