"""One node as a capture follows it: what is taken, asked again and said, with played clocks."""

from __future__ import annotations

from live.sources.node import wire
from live.sources.node.followed import FollowedNode
from live.sources.node.wire import Answer, Ask, Fact, NodeSensor, State, Told
from replay.event import ADVICE, HEART_RATE, LINK, MODEL, NS_PER_S, Event, Stamp
from replay.plan import PlannedSensor

RUN, OTHER = "a" * 16, "b" * 16
MS = 1_000_000
AHEAD_NS = 100 * NS_PER_S
SENSORS = (NodeSensor(number=4, label="Sorrel", address="C0:2"),)
PLANNED = {2: PlannedSensor(label="S", role="test", source="node", node="attic", address="c0:2")}


class Played:
    """A followed node, the time here, and what it emitted."""

    def __init__(self) -> None:
        self.node = FollowedNode("attic", PLANNED, "reader")
        self.t_ns = 0
        self.ahead_ns = AHEAD_NS
        self.events: list[Event] = []
        self.newest = 10
        self.node.begin(0, self._emit)

    def _emit(
        self, t_ns: int, sensor: int, channel: str, payload: bytes, *, foreign: Stamp | None = None
    ) -> None:
        self.events.append(Event(t_ns, sensor, channel, payload, foreign))

    def state(self, run: str = RUN, *, online: bool = True, retained: bool = False) -> None:
        self.node.hear_state(self.t_ns, State(run, online, SENSORS), retained=retained)

    def exchange(self, run: str = RUN, first: int = 1) -> Ask:
        """A question and its answer, 2 ms each way, and a tenth of a second later."""
        ask = self.node.question(self.t_ns)
        there_ns = self.t_ns + 2 * MS + self.ahead_ns
        self.t_ns += 4 * MS
        facts = (Fact(4, MODEL, b"optical"), Fact(4, LINK, b"streaming")) if ask.facts else None
        self.node.hear_answer(
            self.t_ns, Answer(run, ask.n, there_ns, there_ns, first, self.newest, facts)
        )
        self.t_ns += 96 * MS
        return ask

    def answered(self) -> bool:
        """A question and its answer: whether the next one is to be asked at once."""
        there_ns = self.t_ns + self.ahead_ns
        answer = Answer(
            RUN, self.node.question(self.t_ns).n, there_ns, there_ns, 1, self.newest, None
        )
        return self.node.hear_answer(self.t_ns, answer)

    def join(self) -> None:
        self.state()
        for _ in range(6):
            self.exchange()

    def send(self, *seqs: int, run: str = RUN, ago_ns: int = 3 * MS) -> bool:
        there_ns = self.t_ns - ago_ns + self.ahead_ns
        told = [Told(seq, there_ns, 4, HEART_RATE, bytes([0, seq])) for seq in seqs]
        return self.node.hear_events(self.t_ns, run, told)

    @property
    def heard(self) -> list[int]:
        return [event.payload[1] for event in self.events if event.channel == HEART_RATE]

    def told(self, channel: str) -> list[bytes]:
        return [event.payload for event in self.events if event.channel == channel]


def test_it_joins_when_the_clock_is_known_and_takes_what_comes_then() -> None:
    """Earlier events are not asked for; links and facts are told as they stand."""
    played = Played()
    played.state()
    played.send(9)
    played.join()
    assert played.told(MODEL) == [b"optical"]
    assert played.told(LINK) == [b"searching", b"streaming"]
    played.send(10, 11)
    assert played.heard == [11]
    (event,) = [e for e in played.events if e.channel == HEART_RATE]
    assert event.foreign == Stamp(
        played.t_ns - 3 * MS + AHEAD_NS, wire.clock_name("attic", RUN), -AHEAD_NS
    )


def test_a_gap_is_asked_for_at_once_and_nothing_is_taken_out_of_order() -> None:
    """What comes behind a gap waits for what is missing; what comes again is left out."""
    played = Played()
    played.join()
    played.send(11)
    assert played.send(14)
    assert not played.send(15)
    played.newest = 15
    ask = played.exchange()
    assert (ask.run, ask.seq) == (RUN, 12)
    played.send(11, 12, 13)
    played.send(13, 14, 15)
    assert played.heard == [11, 12, 13, 14, 15]
    played.exchange()
    assert played.exchange().seq is None


def test_the_last_ones_are_missed_too() -> None:
    """An answer tells of newer events than came: after a second they are asked for."""
    played = Played()
    played.join()
    played.newest = 12
    asked = [played.exchange().seq for _ in range(30)]
    assert 11 in asked
    assert asked.count(11) <= 4


def test_what_came_while_the_line_was_down_is_asked_for_at_once() -> None:
    """The first answer afterwards tells of it: the next question need not wait, and only that."""
    played = Played()
    played.join()
    played.send(11)
    played.t_ns += 4 * NS_PER_S
    assert not played.answered()
    played.newest = 14
    assert played.answered()
    assert played.exchange().seq == 12
    assert not played.answered()
    played.send(12, 13, 14)
    assert not played.answered()
    played.newest = 15
    assert not played.answered()  # it may be on its way


def test_a_step_of_its_clock_has_its_stamps_translated_anew() -> None:
    """Another name of the clock, another offset, a sentence, and both translations kept."""
    played = Played()
    played.join()
    played.send(11)
    played.ahead_ns += 7 * NS_PER_S
    for _ in range(8):
        played.exchange()
    played.send(12)
    first, second = [e.foreign for e in played.events if e.channel == HEART_RATE]
    assert second.clock == f"{first.clock}~2"
    assert abs(second.offset_ns + played.ahead_ns) < 3 * MS
    assert any(b"has stepped" in said for said in played.told(ADVICE))
    assert set(played.node.translations) == {first.clock, second.clock}


def test_late_events_are_counted_and_said_once_it_has_caught_up() -> None:
    """What came longer after it happened than the board waits for."""
    played = Played()
    played.join()
    played.send(11, 12, 13, ago_ns=5 * NS_PER_S)
    played.newest = 13
    played.exchange()
    assert played.node.late == 3
    (said,) = [said for said in played.told(ADVICE) if b"came late" in said]
    assert said.startswith(b"3 notifications")


def test_silence_and_last_will_lose_the_links() -> None:
    """Five seconds without an answer, or the word that it is gone; and back again."""
    played = Played()
    played.join()
    played.t_ns += 6 * NS_PER_S
    played.node.check_silence(played.t_ns)
    assert played.told(LINK)[-2:] == [b"lost", b"searching"]
    assert b"does not answer" in played.told(ADVICE)[-1]
    played.exchange()
    assert played.told(LINK)[-1] == b"streaming"
    played.state(online=False)
    assert played.told(LINK)[-1] == b"searching"
    assert b"is off" in played.told(ADVICE)[-1]


def test_the_next_run_is_taken_from_its_first_event() -> None:
    """Of a node that was started again; what it heard before the session is left out."""
    played = Played()
    played.join()
    played.send(11)
    played.state(online=False)
    played.state(OTHER)
    played.newest = 2
    for _ in range(6):
        played.exchange(OTHER)
    assert played.node.run == OTHER
    played.send(1, run=OTHER, ago_ns=played.t_ns + NS_PER_S)
    played.send(2, run=OTHER)
    assert played.heard == [11, 2]


def test_a_second_node_of_the_same_name_is_said_and_not_taken() -> None:
    """While the first answers; its answers and events are refused."""
    played = Played()
    played.join()
    played.state(OTHER)
    played.send(11, run=OTHER)
    played.exchange(OTHER)
    assert played.heard == []
    assert played.node.run == RUN
    assert sum(b"Two computers" in said for said in played.told(ADVICE)) == 1
    assert played.node.refused == 2


def test_without_a_clock_events_are_taken_after_a_while() -> None:
    """Answers that take seconds: events come with their stamps and without an offset."""
    played = Played()
    played.state()
    for _ in range(5):
        ask = played.node.question(played.t_ns)
        there_ns = played.t_ns + NS_PER_S + AHEAD_NS
        played.t_ns += 2 * NS_PER_S
        facts = () if ask.facts else None
        played.node.hear_answer(played.t_ns, Answer(RUN, ask.n, there_ns, there_ns, 1, 10, facts))
    played.send(11)
    (event,) = [e for e in played.events if e.channel == HEART_RATE]
    assert event.foreign is not None
    assert event.foreign.offset_ns is None
