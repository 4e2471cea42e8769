"""RR held against the time that passes: what is missing, and when that can be told."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from analysis.board.rules.thresholds import LOOSE
from analysis.board.rules.timekeeping import RrAccount
from replay.event import NS_PER_S

RR = 512
"""Of a heart of 120 bpm, 1/1024 s: two beats fill a second."""


def _told(
    counts: Sequence[int], *, rr: int = RR, usual: float | None = None, unit: float = 1.0
) -> list[int]:
    """In which notifications, one a second with so many beats, beats are told to be missing."""
    account = RrAccount(LOOSE, lambda: unit)
    return [
        number
        for number, count in enumerate(counts, 1)
        if account.take(number * NS_PER_S, [rr] * count, rr if usual is None else usual)
    ]


def test_beats_left_out_are_told_once_it_is_known_what_the_sensor_sends() -> None:
    """Twenty notifications, and ten seconds beside the lowest balance so far; then anew."""
    assert _told([2, 1] * 25)[:2] == [30, 38]
    assert _told([2] * 60) == []


@pytest.mark.parametrize(("missing", "told"), [(1, False), (2, True)])
def test_one_beat_may_be_on_its_way(missing, told) -> None:
    """And some tenths of a second: two beats are more."""
    counts = [2] * 60
    for at in range(missing):
        counts[40 + at] = 1
    assert bool(_told(counts)) is told


def test_beats_that_come_with_the_next_are_not_missing() -> None:
    """Late notifications lift the balance only until those behind them have come."""
    counts = [2] * 60
    counts[40:45] = [0, 0, 3, 3, 4]
    assert _told(counts) == []


def test_a_slow_heart_has_notifications_without_a_beat() -> None:
    """Of 46 bpm, some seconds bring none; after two and a half it is another rule's."""
    slow = [1, 1, 1, 0] * 20
    assert _told(slow, rr=1365) == []
    assert _told([1, 1, 0, 0] * 20, rr=1365) != []
    assert _told([2] * 30 + [0] * 30) == []


def test_without_known_neighbours_nothing_is_missing() -> None:
    """How long a beat is must be known."""
    assert _told([2, 1] * 40, usual=0.0) == []


def test_a_sensor_that_sends_one_rr_a_notification_leaves_none_out() -> None:
    """By habit it sends the newest; one that once sends two does not have it."""
    assert _told([1] * 80) == []
    assert _told([1, 1, 1, 2, 1, 1, 1, 1] * 10) != []
    assert _told([1] * 80, rr=1024) == []


@pytest.mark.parametrize(("rr", "told"), [(918, False), (925, True)])
def test_one_rr_a_notification_is_a_habit_only_where_there_are_more_beats(rr, told) -> None:
    """Of a heart of 66 bpm, one a second leaves out whole beats where none is expected to be."""
    assert bool(_told([1] * 80, rr=rr)) is told


def test_rr_in_another_unit_fill_the_time_by_their_factor() -> None:
    """Taken for what they are, none is missing; else a second a minute is."""
    assert _told([2] * 200, rr=460, usual=RR) != []
    assert _told([2] * 200, rr=460, usual=RR, unit=RR / 460) == []


def test_a_gap_begins_the_account_anew() -> None:
    """RR that were lost with their notification are nobody's fault."""
    account = RrAccount(LOOSE)
    at_s, told = 0.0, []
    for number in range(120):
        at_s += 2.0 if number % 9 == 0 else 1.0
        told.append(account.take(round(at_s * NS_PER_S), [RR, RR], RR))
    assert not any(told)
    assert account.missing_s == pytest.approx(0.0)


@pytest.mark.parametrize(("filled", "told"), [([102, 102], False), ([], True)])
def test_a_beat_and_four_tenths_of_a_second_may_be_missing(filled, told) -> None:
    """Here 0.9 s: 0.8 s are not told, one second is."""
    account = RrAccount(LOOSE)
    said = [
        account.take(second * NS_PER_S, filled if second == 40 else [RR, RR], RR)
        for second in range(1, 61)
    ]
    assert any(said) is told


@pytest.mark.parametrize(("apart_s", "told"), [(9, True), (15, True), (16, False), (24, False)])
def test_two_beats_must_be_missing_within_twenty_seconds(apart_s, told) -> None:
    """Five of which it takes to see that the second one does not come with the next."""
    counts = [2] * 90
    counts[40] = counts[40 + apart_s] = 1
    assert bool(_told(counts)) is told


def test_what_arrival_wavers_is_no_gap() -> None:
    """Up to half of a spacing more: beats left out are told all the same."""
    account = RrAccount(LOOSE)
    said = [
        account.take(round((second + 0.15 * (second % 2)) * NS_PER_S), [RR] * (1 + second % 2), RR)
        for second in range(1, 61)
    ]
    assert any(said)
