"""What a node and a capture say to each other is read back as it was, and rubbish is refused."""

from __future__ import annotations

import json
import random

import pytest

from live.sources.node import wire
from live.sources.node.wire import Answer, Ask, Fact, NodeSensor, State, Told, WireError
from replay.event import HEART_RATE, LINK, Stamp

RUN = "0123456789abcdef"
EVENTS = [Told(7, 1_000, 1, HEART_RATE, b"\x00\x50"), Told(8, 2_000, 2, LINK, b"lost")]
STATE = State(RUN, True, (NodeSensor(number=1, label="Sorrel", address="C0:00:00:00:00:02"),))
ANSWER = Answer(RUN, 3, 10, 20, 1, 8, (Fact(1, LINK, b"streaming"),))
ASK = Ask("abc123", 4, facts=True, run=RUN, seq=7)


def test_what_is_packed_is_read_back() -> None:
    """State, events, question and answer survive the way."""
    assert wire.read_state(wire.pack_state(STATE)) == STATE
    assert wire.read_events(wire.pack_events(RUN, EVENTS)) == (RUN, EVENTS)
    assert wire.read_ask(wire.pack_ask(ASK)) == ASK
    assert wire.read_ask(wire.pack_ask(Ask("abc", 0))) == Ask("abc", 0)
    again = Ask("abc", 5, run=RUN, connect=2)
    assert wire.read_ask(wire.pack_ask(again)) == again
    assert wire.read_answer(wire.pack_answer(ANSWER)) == ANSWER


def test_the_fullest_message_fits() -> None:
    """As many events as go into one message, each of the longest payload, can be read."""
    events = [
        Told(seq, 2**62, 100, HEART_RATE, bytes(wire.LONGEST_PAYLOAD))
        for seq in range(2**62 - wire.MOST_EVENTS, 2**62)
    ]
    assert wire.read_events(wire.pack_events(RUN, events))[1] == events


def _events(**change: object) -> bytes:
    return json.dumps({"v": 1, "run": RUN, "events": [[1, 2, 1, "2a37", "00"]], **change}).encode()


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"\xff\xfe",
        b"[1]",
        b"[" * 40_000,
        b" " * 50_000,
        b'{"v":1}',
        _events(v=2),
        _events(v=True),
        _events(run="ABC"),
        _events(run=5),
        _events(events=None),
        _events(events=[[1, 2, 1, "2a37", "00"]] * 40),
        _events(events=[[1, 2, 1, "2a37"]]),
        _events(events=[[0, 2, 1, "2a37", "00"]]),
        _events(events=[[1.0, 2, 1, "2a37", "00"]]),
        _events(events=[[True, 2, 1, "2a37", "00"]]),
        _events(events=[[1, -1, 1, "2a37", "00"]]),
        _events(events=[[1, 2**63, 1, "2a37", "00"]]),
        _events(events=[[1, 2, 0, "2a37", "00"]]),
        _events(events=[[1, 2, 101, "2a37", "00"]]),
        _events(events=[[1, 2, 1, "marker", "00"]]),
        _events(events=[[1, 2, 1, ["2a37"], "00"]]),
        _events(events=[[1, 2, 1, "2a37", "0"]]),
        _events(events=[[1, 2, 1, "2a37", "zz"]]),
        _events(events=[[1, 2, 1, "2a37", "00" * 513]]),
        _events(events=[[1, 2, 1, "2a37", "00"], [3, 2, 1, "2a37", "00"]]),
        b'{"v":1,"run":"0123456789abcdef","events":[[' + b"9" * 5000 + b',1,1,"2a37",""]]}',
    ],
)
def test_events_that_are_none_are_refused(payload: bytes) -> None:
    """Sizes, types, ranges and order are checked; nothing else is raised than one kind of error."""
    with pytest.raises(WireError):
        wire.read_events(payload)


def test_no_change_of_a_message_raises_anything_else() -> None:
    """Ten thousand messages with bytes changed at random are read, or refused by one error."""
    chance = random.Random(3)
    kinds = [
        (wire.read_state, wire.pack_state(STATE)),
        (wire.read_events, wire.pack_events(RUN, EVENTS)),
        (wire.read_ask, wire.pack_ask(ASK)),
        (wire.read_answer, wire.pack_answer(ANSWER)),
    ]
    refused = 0
    for _ in range(10_000):
        read, message = chance.choice(kinds)
        changed = bytearray(message)
        for _ in range(chance.randint(1, 4)):
            changed[chance.randrange(len(changed))] = chance.choice(b'"[]{}:,0159-.eE\\x\xffatru')
        try:
            read(bytes(changed))
        except WireError:
            refused += 1
    assert 5_000 < refused < 10_000


def test_labels_of_a_state_are_made_printable() -> None:
    """What a terminal would take for a command does not reach it; long texts are refused."""
    state = State(RUN, True, (NodeSensor(number=1, label="\x1b[31mred"),))
    assert "\x1b" not in wire.read_state(wire.pack_state(state)).sensors[0].label
    long = State(RUN, True, (NodeSensor(number=1, label="x" * 300),))
    twice = State(RUN, True, (NodeSensor(number=1, label="a"), NodeSensor(number=1, label="b")))
    for bad in (long, twice):
        with pytest.raises(WireError):
            wire.read_state(wire.pack_state(bad))


def test_the_longest_name_of_a_clock_can_be_kept() -> None:
    """A node's name, its run and a count of steps make a name that a stamp takes."""
    clock = wire.clock_name("a" * 20, RUN, 12345)
    assert Stamp(1, clock).clock == clock
    assert wire.clock_name("attic", RUN) == f"node:attic/{RUN}"


@pytest.mark.parametrize("topic", ["sidebeat/nodes/a b/state", "sidebeat/nodes/x", "gym/attic/a/b"])
def test_a_topic_of_nobody_is_refused(topic: str) -> None:
    """Only the topics of a node with a possible name are a node's."""
    with pytest.raises(WireError):
        wire.node_of(topic)
    assert wire.node_of("sidebeat/nodes/attic/answer/x") == "attic"
