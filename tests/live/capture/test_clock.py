"""The capture's clock and the watch over it, on clocks that a test moves."""

from __future__ import annotations

import asyncio

import pytest

from live.capture.clock import (
    ANCHOR_EVERY_NS,
    DISK_EVERY_S,
    LATE_NS,
    ClockWatch,
    Heartbeat,
    Instant,
    MonotonicClock,
    keep_watch,
    watch_disk,
)
from replay.event import ANCHOR, DISK, JUMP, LATE, NS_PER_S, pack_int, unpack_int

UTC_0 = 1_772_604_900 * NS_PER_S


class FakeClocks:
    """Two clocks that only move when told to; ``delays``: time lost at each reading of UTC."""

    def __init__(self) -> None:
        self.monotonic = 5_000
        self.utc = UTC_0
        self.delays: list[int] = []

    def move(self, ns: int, *, utc_ns: int | None = None) -> None:
        self.monotonic += ns
        self.utc += ns if utc_ns is None else utc_ns

    def monotonic_ns(self) -> int:
        return self.monotonic

    def utc_ns(self) -> int:
        utc = self.utc
        if self.delays:
            self.move(self.delays.pop(0))
        return utc


def at(second: float, utc_off_s: float = 0.0) -> Instant:
    return Instant(round(second * NS_PER_S), UTC_0 + round((second + utc_off_s) * NS_PER_S))


def test_the_session_begins_at_nought() -> None:
    """Capture time counts from the making of the clock, and UTC of that moment is kept."""
    clocks = FakeClocks()
    clock = MonotonicClock(clocks)
    assert clock.started_utc_ns == UTC_0
    assert clock.now_ns() == 0
    clocks.move(1_234)
    assert clock.now_ns() == 1_234
    assert clock.instant() == Instant(1_234, UTC_0 + 1_234)


def test_an_interrupted_reading_of_both_clocks_is_taken_again() -> None:
    """A process put aside between the two clocks does not spoil the anchor."""
    clocks = FakeClocks()
    clock = MonotonicClock(clocks)
    clocks.delays = [80_000_000, 0]
    instant = clock.instant()
    assert instant.utc_ns - instant.t_ns == UTC_0


def test_of_three_interrupted_readings_the_narrowest_counts() -> None:
    """On a busy machine the error of an anchor is at most half the narrowest bracket."""
    clocks = FakeClocks()
    clock = MonotonicClock(clocks)
    clocks.delays = [80_000_000, 2_000_000, 9_000_000]
    instant = clock.instant()
    assert abs(instant.utc_ns - instant.t_ns - UTC_0) <= 1_000_000


def test_a_start_that_is_interrupted_still_knows_its_utc() -> None:
    """The first reading of UTC comes some time after 0: that time is taken off again.

    UTC is read in the middle of its bracket, so that an interruption of 100 µs costs 50 µs.
    """
    clocks = FakeClocks()
    clocks.delays = [100_000]
    clock = MonotonicClock(clocks)
    assert clock.started_utc_ns == UTC_0 - 50_000
    clocks.move(7 * NS_PER_S)
    clocks.delays = [100_000]
    assert clock.instant() == Instant(7 * NS_PER_S + 150_000, UTC_0 + 7 * NS_PER_S + 100_000)


def test_utc_is_read_three_times_at_most() -> None:
    """A machine that interrupts every reading does not hold the loop up for ever."""
    clocks = FakeClocks()
    clock = MonotonicClock(clocks)
    clocks.delays = [5_000_000] * 9
    clock.instant()
    assert len(clocks.delays) == 6


def test_anchors_come_at_the_start_and_every_half_minute() -> None:
    """A session of 95 s with steady clocks has anchors at 0, 30, 60 and 90 s and nothing else."""
    watch = ClockWatch()
    seen = [
        (tenth / 10, channel) for tenth in range(950) for channel, _ in watch.check(at(tenth / 10))
    ]
    assert seen == [(0.0, ANCHOR), (30.0, ANCHOR), (60.0, ANCHOR), (90.0, ANCHOR)]


@pytest.mark.parametrize("step_s", [3600.0, 0.6, -0.6, -7200.0])
def test_a_step_of_utc_is_a_jump_followed_by_an_anchor(step_s: float) -> None:
    """A clock that is set, or a computer that slept, is recorded once with its size."""
    watch = ClockWatch()
    watch.check(at(0))
    records = watch.check(at(10, step_s))
    assert [channel for channel, _ in records] == [JUMP, ANCHOR]
    assert unpack_int(records[0][1]) == round(step_s * NS_PER_S)
    assert records[1][1] == pack_int(at(10, step_s).utc_ns)
    assert watch.check(at(11, step_s)) == []


@pytest.mark.parametrize("step_s", [0.5, -0.5, 0.015])
def test_up_to_half_a_second_is_no_jump(step_s: float) -> None:
    """The limit itself does not raise the alarm; the next anchor takes the step in."""
    watch = ClockWatch()
    watch.check(at(0))
    assert watch.check(at(1, step_s)) == []
    assert watch.check(at(30, step_s)) == [(ANCHOR, pack_int(at(30, step_s).utc_ns))]


def test_small_steps_between_two_anchors_add_up() -> None:
    """Three steps of 0.3 s are a jump of 0.6 s when the second is seen."""
    watch = ClockWatch()
    watch.check(at(0))
    assert watch.check(at(1, 0.3)) == []
    assert [channel for channel, _ in watch.check(at(2, 0.6))] == [JUMP, ANCHOR]
    assert watch.check(at(3, 0.9)) == []


def test_ordinary_slewing_never_becomes_a_jump() -> None:
    """A clock pulled straight at 500 ppm for eight hours gives anchors only."""
    watch = ClockWatch()
    channels = {
        channel
        for second in range(8 * 3600)
        for channel, _ in watch.check(at(second, second * 500e-6))
    }
    assert channels == {ANCHOR}


def test_an_anchor_is_due_after_exactly_thirty_seconds() -> None:
    """The period is counted from the last anchor, also one after a jump."""
    watch = ClockWatch()
    watch.check(at(0))
    watch.check(at(10, 5))
    start = at(10, 5)
    assert ANCHOR_EVERY_NS == 30 * NS_PER_S
    early = Instant(start.t_ns + ANCHOR_EVERY_NS - 1, start.utc_ns + ANCHOR_EVERY_NS - 1)
    assert watch.check(early) == []
    due = Instant(start.t_ns + ANCHOR_EVERY_NS, start.utc_ns + ANCHOR_EVERY_NS)
    assert [channel for channel, _ in watch.check(due)] == [ANCHOR]


def test_lateness_beyond_the_limit_is_told_with_its_size() -> None:
    """A beat is late by what it came after its due time; one late beat is not told twice."""
    heart = Heartbeat(0, period_s=0.05)
    assert heart.beat(50_000_000) is None
    assert heart.beat(100_000_000 + LATE_NS) is None
    due = 100_000_000 + LATE_NS + 50_000_000
    assert heart.beat(due + LATE_NS + 1) == LATE_NS + 1
    assert heart.beat(due + LATE_NS + 1 + 50_000_000) is None


def test_the_watch_records_a_blocked_loop_and_a_set_clock() -> None:
    """On a running loop, an anchor comes first, then what happens, stamped in order."""
    clocks = FakeClocks()
    clock = MonotonicClock(clocks)
    events: list[tuple] = []

    async def watched() -> None:
        enough = asyncio.Event()

        def emit(*event: object) -> None:
            events.append(event)
            if len(events) == 4:
                enough.set()

        task = asyncio.create_task(keep_watch(clock, emit))
        await asyncio.sleep(0)
        clocks.move(NS_PER_S, utc_ns=4 * NS_PER_S)
        await asyncio.wait_for(enough.wait(), 30)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(watched())
    assert [event[2] for event in events] == [ANCHOR, LATE, JUMP, ANCHOR]
    assert unpack_int(events[1][3]) == NS_PER_S - 50_000_000
    assert unpack_int(events[2][3]) == 3 * NS_PER_S
    assert [event[0] for event in events] == sorted(event[0] for event in events)


def test_free_space_is_recorded_at_the_start(tmp_path) -> None:
    """The first DISK event comes at once and holds a plausible number of bytes."""
    events: list[tuple] = []
    clock = MonotonicClock()

    async def watched() -> None:
        came = asyncio.Event()

        def emit(*event: object) -> None:
            events.append(event)
            came.set()

        task = asyncio.create_task(watch_disk(tmp_path, clock, emit))
        await asyncio.wait_for(came.wait(), 30)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(watched())
    assert events[0][2] == DISK
    assert unpack_int(events[0][3]) > 0


def test_free_space_is_recorded_every_half_minute() -> None:
    """Often enough to be told before a disk is full, and no more."""
    assert DISK_EVERY_S == 30
