"""Copies of a notification and equal payloads of a steady heart, with stamps as plain numbers."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from live.sources.bluetooth.copies import CopyFilter

MS = 1_000_000


def accustomed(interval_ms: int, *, copies: int = 1, count: int = 12) -> CopyFilter:
    """A filter that has heard a sensor for a while; the last notification came at 0."""
    judge = CopyFilter()
    for n in range(count):
        for copy in range(copies):
            judge.is_copy((n - count + 1) * interval_ms * MS + copy * 500_000, bytes([n]))
    return judge


def test_copies_a_few_ms_apart_are_dropped_and_equal_beats_are_real() -> None:
    """The same payload 3 ms later is a copy; 1 s later, or 250 ms later, it is a reading."""
    copies = CopyFilter()
    assert not copies.is_copy(0, b"\x06\x48")
    assert copies.is_copy(3 * MS, b"\x06\x48")
    assert not copies.is_copy(250 * MS, b"\x06\x48")
    assert not copies.is_copy(1250 * MS, b"\x06\x48")


def test_two_notifications_at_once_and_their_copies() -> None:
    """Two different payloads in one burst are both kept, and each one's copies dropped."""
    copies = CopyFilter()
    judged = [copies.is_copy(t * MS, p) for t, p in enumerate([b"a", b"a", b"b", b"b", b"a"])]
    assert judged == [False, True, False, True, True]


def test_a_run_of_copies_is_counted_and_ends() -> None:
    """Each copied notification lengthens the run; one without a copy ends it."""
    copies = CopyFilter()
    for n in range(3):
        for offset in (0, 1, 2):  # three copies of each still make a run of one per payload
            copies.is_copy((n * 1000 + offset) * MS, bytes([n]))
    assert copies.run == 3
    copies.is_copy(5000 * MS, b"x")
    copies.is_copy(6000 * MS, b"y")
    assert copies.run == 0


@pytest.mark.parametrize("interval_ms", [20, 250, 1000])
@pytest.mark.parametrize("held_up", [2, 6, 30])
def test_equal_payloads_after_a_stall_are_real(interval_ms: int, held_up: int) -> None:
    """What a stall held up arrives within a ms, all equal: none of it is a copy."""
    judge = accustomed(interval_ms)
    stall_ns = held_up * interval_ms * MS
    judged = [judge.is_copy(stall_ns + n * 100_000, b"steady") for n in range(held_up)]
    assert not any(judged)
    assert judge.is_copy(stall_ns + held_up * 100_000, b"steady")  # one more than was held up


def test_copies_in_a_burst_are_dropped_where_each_has_come_twice() -> None:
    """A second subscriber doubles the burst after a stall too: half of it is kept."""
    judge = accustomed(1000, copies=2)
    judged = [judge.is_copy(6000 * MS + n * 100_000, b"steady") for n in range(12)]
    assert judged == [False, True] * 6


@pytest.mark.parametrize(("latest", "lost_at_most"), [(0.7, 0), (0.9, 10)])
@pytest.mark.parametrize("interval_ms", [20, 40, 1000])
def test_equal_payloads_of_a_jittering_sensor_are_real(
    interval_ms: int, latest: float, lost_at_most: int
) -> None:
    """At 50 Hz too, and late by up to 70 % of the interval, none is lost; at 90 %, 1 in 200."""
    rng = random.Random(interval_ms)
    judge = accustomed(interval_ms)
    newest = lost = 0
    for n in range(1, 2001):
        newest = max(newest, round((n + rng.uniform(0.0, latest)) * interval_ms * MS))
        lost += judge.is_copy(newest, b"steady")
    assert lost <= lost_at_most


def test_a_new_subscription_is_not_a_stall() -> None:
    """After a lost link the first payload's copy is a copy, however long the link was down."""
    judge = accustomed(1000)
    judge.restart()
    assert not judge.is_copy(60_000 * MS, b"again")
    assert judge.is_copy(60_001 * MS, b"again")


@given(
    st.lists(st.integers(0, 3), min_size=1, max_size=30),
    st.integers(1, 3),
    st.integers(25, 1000),
)
def test_every_notification_survives_exactly_once(
    values: list[int], copies: int, interval_ms: int
) -> None:
    """However often each is copied, what is let through is what was sent."""
    judge = CopyFilter()
    kept = [
        value
        for n, value in enumerate(values)
        for copy in range(copies)
        if not judge.is_copy((n * interval_ms + copy) * MS, bytes([value]))
    ]
    assert kept == values
