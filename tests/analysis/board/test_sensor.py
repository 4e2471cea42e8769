"""Facts of one sensor that follow from its events, on both sides of each limit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.board.sensor import COUNTS_KEPT_S, KEPT_S, SensorState, leaps
from analysis.statistics.pairing import grid_values
from replay import event as ev
from replay.event import Event, Stamp
from replay.link_state import LinkState
from tests.standins.kinds.streams import steps
from tests.standins.session_events import S, hr, link, planned


def _sensor(role: str = "test", **more) -> SensorState:
    return SensorState(2, planned("Sorrel", role, **more))


def _told(state: SensorState, *events: Event) -> SensorState:
    for event in events:
        state.take(event.t_ns, event)
    return state


@pytest.mark.parametrize(
    ("worn", "has"),
    [
        ({"placement": "chest"}, True), ({"placement": "Chest, low"}, True),
        ({"placement": "left wrist", "kind": "strap"}, False), ({"kind": "strap"}, True),
        ({"kind": "wrist"}, False), ({"kind": "", "source": "bluetooth", "name": "x"}, False),
    ],
)  # fmt: skip
def test_what_is_worn_as_a_strap_has_electrodes(worn, has) -> None:
    """By its place, else by its kind; where a plan says neither, only the reference is one."""
    assert _sensor(**worn).has_electrodes is has
    unsaid = planned("Yarrow", "reference", kind="", source="bluetooth", name="x")
    assert SensorState(1, unsaid).has_electrodes


@pytest.mark.parametrize(
    ("bpm", "apart_s", "leapt"),
    [(116, 1.0, False), (117, 1.0, True), (56, 1.0, False), (55, 1.0, True),
     (30, 1.5, True), (30, 1.51, False)],
)  # fmt: skip
def test_a_leap_is_more_than_thirty_bpm_within_a_second_and_a_half(bpm, apart_s, leapt) -> None:
    """Told as it comes as in a series that is known whole, from the session's first instant on."""
    state = _told(_sensor(), hr(0, 2, 86), hr(apart_s, 2, bpm))
    found = leaps(state.times.view, state.values.view)
    assert found.tolist() == state.doubtful == ([round(apart_s * S)] if leapt else [])
    assert found.dtype == np.int64


def test_before_it_has_sent_nothing_has_a_time() -> None:
    """Minus one is none, since a session's first instant is 0."""
    state = _sensor()
    assert (state.first_ns, state.last_ns, state.last_valid_ns) == (-1, -1, -1)
    assert (state.signal_ns, state.last_malformed_ns) == (-1, -1)


def test_a_node_places_what_it_stamps_while_its_clock_is_known() -> None:
    """As its newest event has it; what no node stamps is in its place."""
    node = {"source": "node", "node": "attic", "topic": "a/b", "kind": ""}
    state = _sensor(**node)
    assert state.is_placed
    for offset_ns, is_placed in ((None, False), (5, True), (None, False)):
        _told(state, hr(1, 2, 100)._replace(foreign=Stamp(S, "node:attic/1", offset_ns)))
        assert state.is_placed is is_placed
    assert _told(_sensor(), hr(1, 2, 100)._replace(foreign=Stamp(S, "a", None))).is_placed


@pytest.mark.parametrize(("at_s", "is_acquiring"), [(41, True), (41.1, False)])
def test_it_looks_for_the_heart_for_forty_seconds(at_s, is_acquiring) -> None:
    """From its first notification on, or from the newest link; then 0 is a fault."""
    state = _told(_sensor(), hr(1, 2, 0))
    assert state.is_acquiring(round(at_s * S)) is is_acquiring
    linked = _told(state, link(100, 2, "streaming"), hr(101, 2, 0))
    assert linked.is_acquiring(round((at_s + 99) * S)) is is_acquiring
    found = _told(linked, hr(102, 2, 120), hr(103, 2, 0))
    assert not found.is_acquiring(104 * S)
    quiet = _told(_sensor(), hr(1, 2, 100), hr(2, 2, 0), link(3, 2, "quiet"))
    assert not quiet.is_acquiring(4 * S)


def test_links_begin_as_their_source_does() -> None:
    """A file has none that could be lost; others are waited for."""
    file = {"source": "file", "file": "a.fit", "alignment": "estimated", "kind": ""}
    assert _sensor(**file).link is LinkState.FILE
    assert _sensor().link is LinkState.WAITING
    state = _told(_sensor(), link(3, 2, "lost"), link(5, 2, "lost"))
    assert (state.link, state.link_since_ns) == (LinkState.LOST, 3 * S)


@pytest.mark.parametrize(
    ("at_s", "counted", "span_s"),
    [
        (0.5, 0, 1),
        (1.4, 0, 1),
        (1.5, 0, 0.5),
        (2, 1, 1),
        (3, 2, 2),
        (10.9, 9, 9.9),
        (11, 10, 10),
        (11.5, 10, 10),
        (12, 9, 10),
        (21, 0, 10),
        (30, 0, 10),
    ],
)
def test_rates_are_of_the_last_ten_seconds(at_s, counted, span_s) -> None:
    """Or of those since the first reading, once they are half of one.  Here one comes each second
    from 1 to 11 s; that at which the stretch begins is not counted, nor what comes after its end.
    """
    state = _told(_sensor(), *(hr(t, 2, 100, rr=[600, 600]) for t in range(1, 12)))
    count, beats = state.rates(round(at_s * S))
    assert count == pytest.approx(counted / span_s)
    assert beats == pytest.approx(2 * counted / span_s)


def test_a_companion_is_there_while_it_sends() -> None:
    """Without a heart rate: its newest notification holds as long as a reading does."""
    state = _sensor("companion", kind="", source="bluetooth", name="x")
    hold_s = state.hold_ns / S
    for second in range(30):
        state.close_second(second)
        if second < 5:
            event = steps()[second]
            state.take(event.t_ns, event._replace(sensor=2))
    last_s = state.last_ns / S
    assert state.covered_s == int(last_s + hold_s)
    assert state.gaps == 2
    assert [state.cadences[s] >= 0 for s in (0, 1, int(last_s + hold_s), 20)] == [
        False, True, True, False,
    ]  # fmt: skip


def test_a_companion_is_held_as_long_as_a_reading_is() -> None:
    """One notification at the session's first instant: in the seconds 0 to 3, and no longer."""
    state = _sensor("companion", kind="", source="bluetooth", name="x")
    state.take(0, steps()[0]._replace(t_ns=0, sensor=2))
    for second in range(10):
        state.close_second(second)
    assert (state.hold_ns, state.covered_s, state.gaps) == (3 * S, 4, 1)


def test_a_cadence_that_comes_late_is_unknown_before() -> None:
    """One value for each closed second, also where the first seconds had none."""
    state = _sensor("companion", kind="", source="bluetooth", name="x")
    for second in range(5):
        state.close_second(second)
    state.take(5 * S, steps()[5]._replace(t_ns=5 * S, sensor=2))
    state.close_second(5)
    assert state.cadences == [-1.0] * 5 + [168.0]


def test_spacings_are_those_of_the_notifications() -> None:
    """The first has none."""
    state = _told(_sensor(), hr(1, 2, 100), hr(2.5, 2, 100), hr(3, 2, 0))
    assert list(state.spacings) == [1_500_000_000, 500_000_000]
    assert (state.first_ns, state.last_ns, state.last_valid_ns) == (S, 3 * S, round(2.5 * S))


def test_what_cannot_be_read_is_counted_with_its_time() -> None:
    """A heart rate as a notification of its sensor, a battery not."""
    bad = hr(1, 2, 100)._replace(payload=b"\x01")
    state = _told(_sensor(), bad, Event(2 * S, 2, ev.BATTERY, b"\xff"))
    assert (state.notifications, state.heart_rates, state.undecoded) == (1, 1, 1)
    assert (state.malformed, state.last_malformed_ns, state.invalid) == (2, 2 * S, 0)


@given(
    times=st.lists(st.integers(0, 40 * S), max_size=40).map(sorted),
    hold_s=st.sampled_from([0.5, 3, 7.5]),
    data=st.data(),
)
def test_a_value_is_held_as_the_rule_of_pairing_has_it(times, hold_s, data) -> None:
    """At each closed second what the arrays of the analysis say."""
    state = _sensor(hold_s=hold_s)
    waiting = [(t_ns, data.draw(st.integers(25, 240))) for t_ns in times]
    readings = list(waiting)
    for second in range(45):
        while waiting and waiting[0][0] <= second * S:
            t_ns, bpm = waiting.pop(0)
            state.take(t_ns, hr(t_ns / S, 2, bpm))
        state.close_second(second)
    t_ns = np.array([at for at, _ in readings], dtype=np.int64)
    mbpm = np.array([1000 * bpm for _, bpm in readings], dtype=np.int32)
    assert state.held == grid_values(t_ns, mbpm, 45, state.hold_ns).tolist()


def test_readings_are_kept_by_second_for_a_while() -> None:
    """And counted: two in each second but every tenth, which has none."""
    state, told = _sensor(), []
    for second in range(100):
        state.fresh = []
        for at_s in (second - 0.6, second - 0.2) if second % 10 else ():
            state.take(round(at_s * S), hr(at_s, 2, 100))
        told.append(list(state.fresh))
        state.close_second(second)
    assert [list(one) for one in state.lately] == told[-KEPT_S:]
    counts = [0 if second % 10 == 0 else 2 for second in range(100)]
    assert np.diff(state.came).tolist() == counts[-COUNTS_KEPT_S:]
    assert state.came[-1] == sum(counts)


def test_what_rules_that_sleep_must_know_at_once() -> None:
    """All but one more reading like those before: its link, the first RR, the first invalid one."""
    state = _sensor()
    told = [
        hr(0, 2, 0), hr(1, 2, 0), hr(2, 2, 100), hr(3, 2, 101), hr(4, 2, 102, rr=[600]),
        hr(5, 2, 103, rr=[600]), hr(6, 2, 250), hr(7, 2, 251), link(8, 2, "closed"),
        hr(9, 2, 100)._replace(payload=b"\x01"), hr(10, 2, 100),
    ]  # fmt: skip
    assert [state.take(one.t_ns, one) for one in told] == [
        True, False, False, False, True, False, True, False, True, False, False,
    ]  # fmt: skip
    assert state.sends_rr
    companion = _sensor("companion", kind="", source="bluetooth", name="x")
    assert not companion.take(0, steps()[0]._replace(t_ns=0, sensor=2))


def test_each_payload_is_counted_as_what_it_is() -> None:
    """All of them, those that cannot be read, and those that may not be paired."""
    state = _told(
        _sensor(),
        hr(1, 2, 120),
        hr(2, 2, 0),
        hr(3, 2, 250),
        hr(4, 2, 120, contact=False),
        Event(5 * S, 2, ev.HEART_RATE, b"\x00"),
        hr(6, 2, 121),
    )
    assert (state.notifications, state.heart_rates) == (6, 6)
    assert (state.invalid, state.undecoded, state.malformed) == (3, 1, 1)
    assert state.values.view.tolist() == [120_000, 121_000]
