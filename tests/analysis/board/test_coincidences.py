"""Which streams sent the same at the same moment, against holding each reading against each."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.board.rules.streams import Coincidences, Stream
from analysis.board.sensor import SensorState
from replay.event import HEART_RATE, Event
from replay.payloads import HeartRate, encode_heart_rate
from tests.standins.session_events import S, planned

WINDOW_NS = S // 2
_readings = st.lists(
    st.tuples(
        st.integers(0, 2),  # which of the streams
        st.integers(0, 3),  # the second
        st.sampled_from([0, 1, S // 4, S // 2, S - 1]),  # and when in it
        st.sampled_from([70, 71]),
        st.sampled_from([(), (800,), (801,)]),
    ),
    max_size=16,
)


@settings(deadline=None)
@given(_readings)
def test_they_are_those_of_equal_readings_within_the_window(
    drawn: list[tuple[int, int, int, int, tuple[int, ...]]],
) -> None:
    """One of two equal readings is of this second, the other of it or of the one before."""
    sensors = [SensorState(number, planned(f"S{number}")) for number in (1, 2, 3)]
    streams = [Stream(sensor) for sensor in sensors]
    coincidences = Coincidences(streams, WINDOW_NS)
    before: list[tuple[int, int, HeartRate]] = []
    for second in range(4):
        now = []
        for place, at, within_ns, bpm, rr in sorted(drawn, key=lambda one: one[2]):
            if at == second:
                payload = encode_heart_rate(bpm, rr=rr)
                t_ns = second * S + within_ns
                sensors[place].take(t_ns, Event(t_ns, place + 1, HEART_RATE, payload))
                now.append((place, t_ns, HeartRate(bpm * 1000, None, None, rr)))
        alike = {
            pair
            for one in now
            for other in [*before, *now]
            if one[0] != other[0] and one[2] == other[2] and abs(one[1] - other[1]) <= WINDOW_NS
            for pair in ((one[0], other[0]), (other[0], one[0]))
        }
        assert coincidences.look(second) == {streams[place] for place, _ in alike}
        for place, stream in enumerate(streams):
            partners = {streams[other] for this, other in alike if this == place}
            assert coincidences.partners(stream) == partners
        for sensor in sensors:
            sensor.fresh = []
        before = now
