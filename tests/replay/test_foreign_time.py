"""The best time of an event, from its arrival and from what another clock said."""

from __future__ import annotations

import pytest

from replay.event import HEART_RATE, Event, Stamp
from replay.foreign_time import Repeats, Translation, event_time_ns

ARRIVED = Event(1_000, 1, HEART_RATE, b"\x00\x64")


@pytest.mark.parametrize(
    ("foreign", "expected"),
    [
        (None, 1_000),
        (Stamp(5_000, "a", -4_180), 820),
        (Stamp(5_000, "a"), 1_000),  # nobody knew the offset then, or knows it now
        (Stamp(5_000, "b"), 900),  # nobody knew it then, but it is known now
        (Stamp(5_000, "b", -4_500), 900),  # what is known now counts
        (Stamp(0, "a", -5), -5),  # heard before the session began
        (Stamp(2**63 - 1, "a", 2**63 - 1), 2**62),  # a clock that tells nonsense
        (Stamp(-(2**63), "a", -(2**63)), -(2**62)),
    ],
)
def test_the_best_time_is_translated_anew(foreign: Stamp | None, expected: int) -> None:
    """What is known of a clock now comes first, then the offset used on arrival, then arrival."""
    known_now = {"b": Translation(offset_ns=-4_100)}
    assert event_time_ns(ARRIVED._replace(foreign=foreign), known_now) == expected


def test_a_drifting_clock_is_translated_by_offset_and_drift() -> None:
    """A clock that loses 40 ppm is 144 ms further off after an hour, before it as well."""
    translation = Translation(offset_ns=7, drift_ppb=40_000, at_ns=10**15)
    hour = 3_600 * 10**9
    assert translation.to_capture_ns(10**15) == 10**15 + 7
    assert translation.to_capture_ns(10**15 + hour) == 10**15 + hour + 7 + 144_000_000
    assert translation.to_capture_ns(10**15 - hour) == 10**15 - hour + 7 - 144_000_000


def test_the_same_notification_of_another_clock_counts_once() -> None:
    """A repeat has the same sensor, channel, clock, stamp and payload; arrivals here never repeat.

    A translation that was bettered between the two arrivals does not make them two.
    """
    repeats = Repeats()
    first = ARRIVED._replace(foreign=Stamp(5, "a", 1))
    again = first._replace(t_ns=2_000, foreign=Stamp(5, "a", 3))
    others = [
        first._replace(sensor=2),
        first._replace(payload=b"\x00\x65"),
        first._replace(foreign=Stamp(6, "a", 1)),
        first._replace(foreign=Stamp(5, "b", 1)),
        ARRIVED,
        ARRIVED,
    ]
    assert [repeats.is_repeat(event) for event in (first, again, *others)] == [
        False, True, *[False] * len(others),
    ]  # fmt: skip


def test_a_senders_own_time_tells_no_repetition() -> None:
    """Such a time may be coarse or stand still: equal messages are readings of their own."""
    repeats = Repeats()
    for clock in ("mqtt:2/utc", "mqtt:2/1"):
        event = ARRIVED._replace(foreign=Stamp(0, clock))
        assert [repeats.is_repeat(event) for _ in range(3)] == [False] * 3
        assert event_time_ns(event) == ARRIVED.t_ns
