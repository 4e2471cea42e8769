"""Silence and copies in a stream of notifications, with times as plain numbers."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from live.sources.bluetooth.timing import Timing
from live.sources.bluetooth.watchdog import CopyFilter, SilenceWatch

TIMING = Timing()
MS = 1_000_000


def watch() -> SilenceWatch:
    """A watch with the times for a heart-rate sensor."""
    return SilenceWatch(
        first_s=TIMING.first_s,
        least_s=TIMING.silence_s,
        most_s=TIMING.silence_most_s,
        intervals=TIMING.silence_intervals,
    )


def regular(interval_s: float, count: int = 20) -> SilenceWatch:
    """A watch that has heard a regular stream, last at ``(count - 1) * interval_s``."""
    stream = watch()
    stream.subscribed(0.0)
    for n in range(count):
        stream.notified(n * interval_s)
    return stream


def test_silence_at_one_hertz_is_three_to_five_seconds() -> None:
    """A sensor that sends once a second is silent after 3 to 5 s."""
    assert 3.0 <= regular(1.0).limit_s <= 5.0


def test_silence_follows_the_sensors_own_rhythm() -> None:
    """Fast sensors keep the least limit; slow ones get four intervals, up to the most."""
    assert regular(0.02).limit_s == TIMING.silence_s
    assert regular(5.0).limit_s == 20.0
    assert regular(20.0).limit_s == TIMING.silence_most_s


def test_one_long_gap_does_not_change_the_rhythm() -> None:
    """A single late notification leaves the limit as it was."""
    stream = regular(1.0)
    before = stream.limit_s
    stream.notified(19.0 + 3.0)
    assert stream.limit_s == before


def test_the_first_notification_has_a_time_of_its_own() -> None:
    """Before the rhythm is known, silence is counted from the subscription."""
    stream = watch()
    stream.subscribed(100.0)
    assert not stream.heard
    assert stream.deadline_s == 100.0 + TIMING.first_s


def test_renewing_keeps_the_rhythm_and_not_the_pause() -> None:
    """After a renewed subscription the silent stretch is not learnt as an interval."""
    stream = regular(1.0)
    stream.subscribed(30.0)
    assert not stream.heard
    assert stream.deadline_s == 34.0
    stream.notified(31.0)
    assert stream.heard
    assert stream.limit_s == 4.0


def test_copies_a_few_ms_apart_are_dropped_and_equal_beats_are_real() -> None:
    """The same payload 3 ms later is a copy; 1 s later, or 250 ms later, it is a reading."""
    copies = CopyFilter(round(TIMING.doubled_s * 1e9))
    assert not copies.is_copy(0, b"\x06\x48")
    assert copies.is_copy(3 * MS, b"\x06\x48")
    assert not copies.is_copy(250 * MS, b"\x06\x48")
    assert not copies.is_copy(1250 * MS, b"\x06\x48")


def test_two_notifications_at_once_and_their_copies() -> None:
    """Two different payloads in one burst are both kept, and each one's copies dropped."""
    copies = CopyFilter(20 * MS)
    judged = [copies.is_copy(t * MS, p) for t, p in enumerate([b"a", b"a", b"b", b"b", b"a"])]
    assert judged == [False, True, False, True, True]


def test_a_run_of_copies_is_counted_and_ends() -> None:
    """Each copied notification lengthens the run; one without a copy ends it."""
    copies = CopyFilter(20 * MS)
    for n in range(3):
        for offset in (0, 1, 2):  # three copies of each still make a run of one per payload
            copies.is_copy((n * 1000 + offset) * MS, bytes([n]))
    assert copies.run == 3
    copies.is_copy(5000 * MS, b"x")
    copies.is_copy(6000 * MS, b"y")
    assert copies.run == 0


@given(
    st.lists(st.integers(0, 3), min_size=1, max_size=30),
    st.integers(1, 3),
    st.integers(25, 1000),
)
def test_every_notification_survives_exactly_once(
    values: list[int], copies: int, interval_ms: int
) -> None:
    """However often each is copied, what is let through is what was sent."""
    judge = CopyFilter(20 * MS)
    kept = [
        value
        for n, value in enumerate(values)
        for copy in range(copies)
        if not judge.is_copy((n * interval_ms + copy) * MS, bytes([value]))
    ]
    assert kept == values
