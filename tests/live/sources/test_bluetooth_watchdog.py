"""Silence in a stream of notifications, with times as plain numbers."""

from __future__ import annotations

from live.sources.bluetooth.timing import Timing
from live.sources.bluetooth.watchdog import SilenceWatch

TIMING = Timing()


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
    assert regular(5.0).limit_s == 15.0
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
    assert stream.deadline_s == 33.0
    stream.notified(31.0)
    assert stream.heard
    assert stream.limit_s == 3.0


def test_a_renewed_subscription_is_given_less_time_and_more_than_an_interval() -> None:
    """What renewing does not revive is linked anew soon, but not before the sensor's next beat
    could have come; a notification ends the hurry.
    """
    stream = SilenceWatch(
        first_s=8.0, least_s=3.0, most_s=30.0, intervals=3.0, renewed_share=TIMING.renewed_share
    )
    stream.subscribed(0.0)
    for second in range(10):
        stream.notified(float(second))
    stream.subscribed(20.0, renewed=True)
    assert 21.1 < stream.deadline_s < 21.5
    stream.notified(21.0)
    assert stream.deadline_s == 24.0


def test_time_in_which_nobody_listened_is_no_silence() -> None:
    """A computer that was busy for 2 s hears the silence 2 s later; the rhythm is not touched."""
    stream = regular(1.0)
    due_s, limit_s = stream.deadline_s, stream.limit_s
    stream.excuse(2.0)
    assert stream.deadline_s == due_s + 2.0
    stream.notified(20.0)
    assert stream.deadline_s == 20.0 + limit_s
