"""Notifications and RR a second, against counting all arrivals of the last ten seconds anew."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.board.sensor import RATE_WINDOW_NS, SensorState
from replay.event import HEART_RATE, Event
from replay.payloads import encode_heart_rate
from tests.standins.session_events import S, planned

_steps = st.lists(
    st.tuples(st.sampled_from([0, 1, S // 30, S // 4, S, 12 * S]), st.integers(0, 3)), max_size=90
)


def _counted(arrivals: list[tuple[int, int]], t_ns: int) -> tuple[float, float]:
    """The plain form: every arrival is looked at."""
    if not arrivals:
        return 0.0, 0.0
    start_ns = max(t_ns - RATE_WINDOW_NS, arrivals[0][0])
    if t_ns - start_ns < S // 2:
        return 0.0, 0.0
    kept_ns = arrivals[-1][0] - RATE_WINDOW_NS  # older ones are not kept
    inside = [rr for at_ns, rr in arrivals if max(start_ns, kept_ns) < at_ns <= t_ns]
    per_s = S / (t_ns - start_ns)
    return len(inside) * per_s, sum(inside) * per_s


@settings(deadline=None)
@given(_steps, st.integers(1, 12), st.sampled_from([-3 * S, -1, 0, 1, S // 2, 4 * S, 30 * S]))
def test_rates_are_those_of_all_arrivals(
    steps: list[tuple[int, int]], times: int, ahead_ns: int
) -> None:
    """Whether anyone has asked before or not, and however many have come, at any instant."""
    asked, unasked = (SensorState(1, planned("Yarrow", "reference")) for _ in range(2))
    arrivals: list[tuple[int, int]] = []
    t_ns = 0
    for step_ns, rr in steps * times:
        t_ns += step_ns
        event = Event(t_ns, 1, HEART_RATE, encode_heart_rate(70, rr=[900] * rr))
        arrivals.append((t_ns, rr))
        for sensor in (asked, unasked):
            sensor.take(t_ns, event)
        assert asked.rates(t_ns) == _counted(arrivals, t_ns)
    for sensor in (asked, unasked):
        at_ns = max(0, t_ns + ahead_ns)
        assert sensor.rates(at_ns) == _counted(arrivals, at_ns)
