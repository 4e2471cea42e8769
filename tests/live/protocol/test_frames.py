"""Frames between the capture and its views."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from live.protocol import frames as wire
from live.protocol.feed import Acknowledged, CaptureStatus, Command, Ended, Tick
from replay.event import CHANNELS, HEART_RATE, Event, Stamp

EVENTS = st.builds(
    Event,
    st.integers(0, 2**63 - 1),
    st.integers(0, 65535),
    st.sampled_from(CHANNELS),
    st.binary(max_size=600),
    st.none()
    | st.builds(
        Stamp,
        st.integers(-(2**63), 2**63 - 1),
        st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=48),
        st.none() | st.integers(-(2**63), 2**63 - 1),
    ),
)
OTHERS = {
    "tick": (wire.tick_frame(123), Tick(123)),
    "hello": (
        wire.hello_frame(wire.Hello(wire.VERSION, "plan", "title", "path", 5)),
        wire.Hello(wire.VERSION, "plan", "title", "path", 5),
    ),
    "status": (
        wire.status_frame(CaptureStatus("p", 3, 2, 0.1, 1, "ü")),
        CaptureStatus("p", 3, 2, 0.1, 1, "ü"),
    ),
    "ended": (wire.ended_frame(Ended(9, "done")), Ended(9, "done")),
    "command": (
        wire.command_frame(Command(1, "marker", {"text": "x"})),
        Command(1, "marker", {"text": "x"}),
    ),
    "ack": (
        wire.ack_frame(Acknowledged(1, done=True, message="m")),
        Acknowledged(1, done=True, message="m"),
    ),
    "token": (wire.token_frame("secret"), "secret"),
}


@given(st.lists(EVENTS, max_size=8), st.integers(1, 700))
def test_events_survive_any_cutting_of_the_stream(events: list[Event], piece: int) -> None:
    """However the bytes are cut on the way, the same events come out in the same order."""
    stream = b"".join(map(wire.event_frame, events))
    reader = wire.FrameReader()
    read = [
        frame
        for start in range(0, len(stream), piece)
        for frame in reader.feed(stream[start : start + piece])
    ]
    assert read == events


@pytest.mark.parametrize("name", OTHERS)
def test_every_other_frame_comes_back_equal(name: str) -> None:
    """What is written as JSON is read as the same value, byte by byte."""
    frame, value = OTHERS[name]
    reader = wire.FrameReader()
    assert [f for byte in frame for f in reader.feed(bytes([byte]))] == [value]


def test_a_heart_rate_event_is_small() -> None:
    """An hour of one sensor at 1 Hz takes no more than 25 bytes an event."""
    assert len(wire.event_frame(Event(0, 1, HEART_RATE, b"\x16\x64\x00\x04"))) <= 25


@pytest.mark.parametrize(
    ("data", "complaint"),
    [
        (b"\x63" + bytes(4), "unknown kind 99"),
        (b"GET / HTTP/1.1\r\n\r\n", "a frame of"),
        (b"\x01" + (3).to_bytes(4, "little") + b"abc", "kind 1 cannot be read"),
        (b"\x01" + (11).to_bytes(4, "little") + bytes(10) + b"\xff", "kind 1 cannot be read"),
        (b"\x09" + (11).to_bytes(4, "little") + bytes(11), "kind 9 cannot be read"),
        (b"\x09" + (29).to_bytes(4, "little") + bytes(10) + b"\x01" + bytes(18), "kind 9 cannot"),
        (b"\x04" + (2).to_bytes(4, "little") + b"{]", "kind 4 cannot be read"),
        (b"\x04" + (2).to_bytes(4, "little") + b"{}", "kind 4 cannot be read"),
        (b"\x04" + (2).to_bytes(4, "little") + b"[]", "kind 4 cannot be read"),
        (wire.hello_frame(wire.Hello(99, "", "", "", 0)), "another version"),
    ],
)
def test_what_is_not_a_frame_is_refused_in_one_sentence(data: bytes, complaint: str) -> None:
    """Bytes of somebody else never become an event."""
    with pytest.raises(wire.WireError, match=complaint):
        list(wire.FrameReader().feed(data))


@pytest.mark.parametrize(
    "values",
    [
        {"number": "1", "action": "stop", "values": {}},
        {"number": 1, "action": 2, "values": {}},
        {"number": 1, "action": "stop", "values": []},
        {"number": 1, "action": "stop", "values": {"text": None}},
        {"number": 1, "action": "stop", "values": {"text": {"a": 1}}},
        {"number": 1, "action": "stop", "extra": 1},
    ],
)
def test_a_malformed_command_is_refused(values: dict[str, object]) -> None:
    """A command acts on the capture, so every part of it is checked."""
    body = json.dumps(values).encode()
    frame = bytes([wire.Kind.COMMAND]) + len(body).to_bytes(4, "little") + body
    with pytest.raises(wire.WireError):
        list(wire.FrameReader().feed(frame))
