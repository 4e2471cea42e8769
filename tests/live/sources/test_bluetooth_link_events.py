"""What is said of one link: once, and again when it is news."""

from __future__ import annotations

from live.sources.bluetooth.link_events import LinkEvents
from replay.event import ADVICE, SIGNAL
from replay.link_state import LinkState
from replay.plan import PlannedSensor


class Bench:
    """Events of a sensor, on a clock that the test moves."""

    def __init__(self) -> None:
        self.t_ns = 0
        self.emitted: list[tuple[str, bytes]] = []
        sensor = PlannedSensor(label="Yarrow", role="reference", address="C0:00:00:00:00:01")
        self.events = LinkEvents(1, sensor, self, self._emit)

    def now_ns(self) -> int:
        return self.t_ns

    def _emit(self, _t_ns: int, _sensor: int, channel: str, payload: bytes) -> None:
        self.emitted.append((channel, payload))

    def advice(self) -> list[str]:
        """All sentences, in order."""
        return [payload.decode() for channel, payload in self.emitted if channel == ADVICE]


def test_two_sentences_in_turn_are_told_once_each() -> None:
    """Whatever is true second after second, in whatever order, comes once until a stream."""
    bench = Bench()
    for _ in range(100):
        bench.events.advise("switch it on")
        bench.events.advise("several have this name")
    assert bench.advice() == ["switch it on", "several have this name"]
    bench.events.state(LinkState.STREAMING)
    bench.events.advise("switch it on")
    assert bench.advice()[2:] == ["switch it on"]


def test_what_a_stream_does_not_end_is_told_once_in_the_session() -> None:
    """A namesake beside the sensor stays, however often the link is made anew."""
    bench = Bench()
    for _ in range(10):
        bench.events.advise("another program listens too", for_good=True)
        bench.events.state(LinkState.STREAMING)
    assert bench.advice() == ["another program listens too"]


def test_signal_strength_is_kept_once_a_second() -> None:
    """Advertisements come ten times a second; a second's first is enough."""
    bench = Bench()
    for tenth in range(30):
        bench.t_ns = tenth * 100_000_000
        bench.events.signal(-60)
    assert [channel for channel, _ in bench.emitted] == [SIGNAL] * 3
