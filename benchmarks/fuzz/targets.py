"""What reads bytes and text in memory: payloads, frames, plans, and text that is shown."""

from __future__ import annotations

import csv
import io
import json
import random

from benchmarks.fuzz.spoiling import SIGNS, one_of, spoiled, spoiled_text
from live.protocol import frames
from live.protocol.alarm import GOES_ON, Alarm
from live.protocol.feed import Acknowledged, CaptureStatus, Command, Ended
from live.protocol.frames import FrameReader, Hello, WireError
from replay.channels import CHANNELS
from replay.errors import PayloadError, PlanError, SidebeatError
from replay.event import HEART_RATE, Event, Stamp
from replay.payloads import HeartRate
from replay.payloads.fields import Dissection
from replay.plan import Plan, PlannedSensor, format_plan, parse_plan
from replay.text import as_cell, is_printable, printable

PLAN = Plan(
    wearer="W1",
    activity="rowing ergometer",
    details={"temperature": "21 °C"},
    sensors=(
        PlannedSensor(label="Yarrow", role="reference", address="C0:00:00:00:00:01"),
        PlannedSensor(label="Sorrel", role="test", source="mqtt", topic="gym/sorrel/hr"),
        PlannedSensor(label="Bracken", role="test", name="Bracken", hold_s=5.0),
    ),
)
PAYLOADS = (
    bytes((0x00, 61)), bytes((0x16, 61, 0x00, 0x04)), bytes((0x19, 61, 0, 1, 0, 0x34, 3)),
    b"142", b"61.5", bytes(20), b'{"hr": 61}', bytes((3, 1, 0, 0, 0, 2, 0, 9, 0, 9, 0)),
    bytes((0x07, 2, 1, 90)), bytes((0x30, 0, 200, 0, 1, 0, 0, 4)), b"Maker 1", bytes((44, 2, 90)),
    bytes((0x10, 61)) + bytes((0, 4)) * 16,
)  # fmt: skip


def payload(chance: random.Random) -> None:
    """Every decoder gives a reading or names the byte, and every payload can be shown."""
    channel, data = chance.choice(CHANNELS), one_of(PAYLOADS, chance)
    if channel.decoder is not None:
        try:
            reading = channel.decoder(data)
        except PayloadError as error:
            sentence(error)
        else:
            if isinstance(reading, HeartRate) and reading.mbpm < 0:
                raise AssertionError(f"a negative heart rate of {data.hex()}")
    dissection = Dissection(data)
    if data:
        channel.dissect(dissection)
    for field in dissection.found:
        if not 0 <= field.start <= field.end <= len(data) or not is_printable(field.value):
            raise AssertionError(f"{data.hex()} on {channel.name} is shown as {field}")


_FRAMES = (
    frames.event_frame(Event(5, 1, HEART_RATE, b"\0=")),
    frames.event_frame(Event(5, 1, HEART_RATE, b"\0=", Stamp(9, "node-a", None))),
    frames.tick_frame(9),
    frames.hello_frame(Hello(frames.VERSION, format_plan(PLAN), "c", "/c", 1)),
    frames.status_frame(CaptureStatus("/c", 9, 8, 0.1, 1, alarm=Alarm(GOES_ON, "s", "a"))),
    frames.ended_frame(Ended(9, "stopped")),
    frames.command_frame(Command(1, "marker", {"text": "band moved"})),
    frames.ack_frame(Acknowledged(1, done=True)),
    frames.token_frame("abc"),
)


def frame(chance: random.Random) -> None:
    """A stream of frames is read, or refused by a WireError; nothing waits for a gigabyte."""
    data = b"".join(chance.choices(_FRAMES, k=chance.randint(1, 4)))
    kind = chance.randrange(4)
    if kind == 0:
        deep = b'{"number": 1, "action": ' + b"[" * 3000 + b"]" * 3000 + b', "values": {}}'
        data += bytes((6,)) + len(deep).to_bytes(4, "little") + deep
    elif kind == 1:
        half = json.dumps(
            {"number": 1, "action": "marker", "values": {"text": chance.choice(SIGNS)}}
        ).encode()
        data += bytes((6,)) + len(half).to_bytes(4, "little") + half
    else:
        data = spoiled(data, chance)
    reader = FrameReader(65_536)
    try:
        for read in reader.feed(data):
            if isinstance(read, Command):
                for value in read.values.values():
                    str(value).encode()
    except WireError as error:
        sentence(error)


def plan(chance: random.Random) -> None:
    """A plan is read and comes back equal from its own text, or is refused in a sentence."""
    text = spoiled_text(format_plan(PLAN), chance)
    if chance.randrange(20) == 0:
        text += "\nx = " + chance.choice(("[" * 3000, "9" * 400, "1e400", "{a=" * 500))
    try:
        read = parse_plan(text)
    except PlanError as error:
        sentence(error)
    else:
        if parse_plan(format_plan(read)) != read:
            raise AssertionError("a plan that was read comes back another")


def text(chance: random.Random) -> None:
    """Whatever was written is shown on one line, once and for all, and no cell is a formula."""
    raw = "".join(
        chance.choice((*SIGNS, "a", "=", chr(chance.randrange(0x110000))))
        for _ in range(chance.randint(0, 20))
    )
    shown = printable(raw)
    shown.encode()
    if printable(shown) != shown or len(shown.splitlines()) > 1:
        raise AssertionError(f"{raw!r} is shown as {shown!r}")
    cell = as_cell(shown)
    if cell[:1] and cell[0] in "=+-@\t\r":
        raise AssertionError(f"{raw!r} is a formula as the cell {cell!r}")
    out = io.StringIO()
    csv.writer(out).writerow([cell, "x"])
    if next(csv.reader(io.StringIO(out.getvalue()))) != [cell, "x"]:
        raise AssertionError(f"{raw!r} does not come back from a table")


def sentence(error: SidebeatError) -> None:
    """What a user is told is one line that can be shown, and not a library's whole state."""
    said = str(error)
    if not said.strip() or not is_printable(said) or len(said) > 2000:
        raise AssertionError(f"this is no sentence: {said[:300]!r}")
