"""What a node and a capture say to each other over MQTT, and what of it is believed.

Everything is a JSON object with ``v``, the version.  Topics, under ``sidebeat/nodes/NAME/``:

=================== ============================================================================
``state``           of the node, retained; also its last will: ``run``, ``online``, and ``sensors``,
                    each with ``number``, ``label``, ``address``, ``name``, ``placement``, ``role``,
                    ``kind`` (of a simulated one)
``events``          of the node: ``run`` and ``events``, each ``[seq, t_ns, sensor, channel, payload
                    in hexadecimal]``, in order of ``seq``, at most :data:`MOST_EVENTS`
``ask``             to the node: ``from`` (a reader's token), ``n``; with ``facts`` true the answer
                    tells how its links stand; ``run`` and ``seq`` ask for events from there on
``answer/READER``   of the node, to one reader: ``run``, ``n``, ``received_ns``, ``sent_ns`` (of its
                    clock), ``first`` and ``newest`` (sequence numbers that it keeps), ``facts``
=================== ============================================================================

``run`` are the first 16 hexadecimal digits of the UUID of the capture that the node keeps itself,
``t_ns`` are the stamps in it: so a notification can be known again in that file.  Sequence numbers
count from 1 within a run.

Whatever comes from the network is untrusted: sizes, types and ranges are checked here, once, and
:class:`WireError` says what was wrong.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from replay.channels import LASTING_CHANNELS, MEASURED_CHANNELS
from replay.event import ADVICE, CHANNEL_NUMBERS, DOUBLED, SIGNAL
from replay.plan import is_node_name
from replay.text import printable

VERSION: Final = 1
PREFIX: Final = "sidebeat/nodes"
LONGEST_MESSAGE: Final = 48_000
"""Bytes of a message that is read."""
LONGEST_PAYLOAD: Final = 512
"""The longest value of a Bluetooth attribute."""
MOST_EVENTS: Final = 32
"""In one message: of the longest payloads these still fit."""
MOST_SENSORS: Final = 100
LONGEST_TEXT: Final = 200
CHANNELS: Final = frozenset(
    {*MEASURED_CHANNELS, *LASTING_CHANNELS, SIGNAL, DOUBLED, ADVICE} & CHANNEL_NUMBERS.keys()
)
"""What a node may tell of a sensor."""
RUN_DIGITS: Final = 16
_RUN: Final = re.compile(rf"[0-9a-f]{{{RUN_DIGITS}}}")
_READER: Final = re.compile(r"[0-9a-z]{1,32}")
_HEX: Final = re.compile(r"(?:[0-9a-f]{2})*")
_INT63: Final = 2**62


class WireError(ValueError):
    """A message that is none of ours; says why."""


class Told(NamedTuple):
    """One event of a node."""

    seq: int
    t_ns: int
    sensor: int
    channel: str
    payload: bytes


class Fact(NamedTuple):
    """How something stands that is told only when it changes."""

    sensor: int
    channel: str
    payload: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeSensor:
    """A sensor as its node names it."""

    number: int
    label: str
    address: str = ""
    name: str = ""
    placement: str = ""
    role: str = "test"
    kind: str = ""


@dataclass(frozen=True, slots=True)
class State:
    """Whether a node is there, and whom it listens to."""

    run: str
    online: bool
    sensors: tuple[NodeSensor, ...] = ()


@dataclass(frozen=True, slots=True)
class Ask:
    """A reader's question.  ``seq``: events from there on are wanted, of this ``run``.

    ``connect``: the node's number of a sensor that is to be tried again at once; 0 for none.
    """

    reader: str
    n: int
    facts: bool = False
    run: str = ""
    seq: int | None = None
    connect: int = 0


@dataclass(frozen=True, slots=True)
class Answer:
    """A node's answer.  ``facts``: ``None`` if they were not asked for."""

    run: str
    n: int
    received_ns: int
    sent_ns: int
    first: int
    newest: int
    facts: tuple[Fact, ...] | None = None


def topic(node: str, what: str) -> str:
    """A topic of a node."""
    return f"{PREFIX}/{node}/{what}"


def node_of(name: str) -> str:
    """Whose topic this is.  Raises :class:`WireError` if no node can be called so."""
    parts = name.split("/")
    if len(parts) < 4 or "/".join(parts[:2]) != PREFIX or not is_node_name(parts[2]):
        raise WireError("its topic is no node's")
    return parts[2]


def clock_name(node: str, run: str, count: int = 1) -> str:
    """The name of a node's clock: another for each run, and for each step that was found in it."""
    return f"node:{node}/{run}" + (f"~{count}" if count > 1 else "")


def pack_state(state: State) -> bytes:
    """A state as it is published."""
    keys = NodeSensor.__dataclass_fields__
    sensors = [{key: getattr(one, key) for key in keys} for one in state.sensors]
    return _pack(run=state.run, online=state.online, sensors=sensors)


def pack_events(run: str, events: Iterable[Told]) -> bytes:
    """Some events, in order."""
    rows = [[*one[:4], one.payload.hex()] for one in events]
    return _pack(run=run, events=rows)


def pack_ask(ask: Ask) -> bytes:
    """A question as it is published."""
    table: dict[str, object] = {"from": ask.reader, "n": ask.n}
    if ask.facts:
        table["facts"] = True
    if ask.seq is not None:
        table.update(run=ask.run, seq=ask.seq)
    if ask.connect:
        table.update(run=ask.run, connect=ask.connect)
    return _pack(**table)


def pack_answer(answer: Answer) -> bytes:
    """An answer as it is published."""
    table: dict[str, object] = {
        "run": answer.run, "n": answer.n, "received_ns": answer.received_ns,
        "sent_ns": answer.sent_ns, "first": answer.first, "newest": answer.newest,
    }  # fmt: skip
    if answer.facts is not None:
        table["facts"] = [[one.sensor, one.channel, one.payload.hex()] for one in answer.facts]
    return _pack(**table)


def read_state(payload: bytes) -> State:
    """Raises :class:`WireError`."""
    table = _table(payload)
    rows = _list(table.get("sensors", []), MOST_SENSORS, "sensors")
    sensors = tuple(_sensor(row) for row in rows)
    if len({one.number for one in sensors}) < len(sensors):
        raise WireError("two sensors have one number")
    return State(_run(table), _bool(table, "online"), sensors)


def read_events(payload: bytes) -> tuple[str, list[Told]]:
    """Run and events.  Raises :class:`WireError`."""
    table = _table(payload)
    found: list[Told] = []
    for row in _list(table.get("events"), MOST_EVENTS, "events"):
        seq, t_ns, sensor, channel, text = _row(row, 5)
        told = Told(
            _whole(seq, 1, "seq"),
            _whole(t_ns, 0, "t_ns"),
            _whole(sensor, 1, "sensor", MOST_SENSORS),
            _channel(channel),
            _bytes(text),
        )
        if found and told.seq != found[-1].seq + 1:
            raise WireError("its events are not in order")
        found.append(told)
    return _run(table), found


def read_ask(payload: bytes) -> Ask:
    """Raises :class:`WireError`."""
    table = _table(payload)
    reader = table.get("from")
    if not isinstance(reader, str) or not _READER.fullmatch(reader):
        raise WireError("from is no token")
    n = _whole(table.get("n"), 0, "n")
    facts = "facts" in table and _bool(table, "facts")
    if not {"seq", "connect"} & set(table):
        return Ask(reader, n, facts)
    seq = _whole(table["seq"], 1, "seq") if "seq" in table else None
    connect = _whole(table["connect"], 1, "connect", MOST_SENSORS) if "connect" in table else 0
    return Ask(reader, n, facts, _run(table), seq, connect)


def read_answer(payload: bytes) -> Answer:
    """Raises :class:`WireError`."""
    table = _table(payload)
    facts = None
    if "facts" in table:
        found: list[Fact] = []
        for row in _list(table["facts"], MOST_SENSORS * len(LASTING_CHANNELS), "facts"):
            sensor, channel, text = _row(row, 3)
            number = _whole(sensor, 1, "sensor", MOST_SENSORS)
            found.append(Fact(number, _channel(channel), _bytes(text)))
        facts = tuple(found)
    n, received_ns, sent_ns, first, newest = (
        _whole(table.get(key), 0, key) for key in ("n", "received_ns", "sent_ns", "first", "newest")
    )
    return Answer(_run(table), n, received_ns, sent_ns, first, newest, facts)


def _pack(**table: object) -> bytes:
    return json.dumps({"v": VERSION, **table}, separators=(",", ":")).encode()


def _table(payload: bytes) -> Mapping[str, object]:
    if len(payload) > LONGEST_MESSAGE:
        raise WireError(f"it has {len(payload)} bytes")
    try:
        table = json.loads(payload)
    except (ValueError, RecursionError):
        raise WireError("it is not JSON") from None
    if not isinstance(table, dict):
        raise WireError("it is no JSON object")
    if table.get("v") != VERSION or isinstance(table["v"], bool):
        raise WireError(f"it is of version {str(table.get('v'))[:10]!r}, not {VERSION}")
    return table


def _sensor(row: object) -> NodeSensor:
    if not isinstance(row, dict):
        raise WireError("a sensor is no JSON object")
    texts = {}
    for key in ("label", "address", "name", "placement", "role", "kind"):
        value = row.get(key, "")
        if not isinstance(value, str) or len(value) > LONGEST_TEXT:
            raise WireError(f"a sensor's {key} is no short text")
        texts[key] = printable(value)
    return NodeSensor(number=_whole(row.get("number"), 1, "number", MOST_SENSORS), **texts)


def _run(table: Mapping[str, object]) -> str:
    run = table.get("run")
    if not isinstance(run, str) or not _RUN.fullmatch(run):
        raise WireError("its run is none")
    return run


def _bool(table: Mapping[str, object], key: str) -> bool:
    value = table.get(key)
    if not isinstance(value, bool):
        raise WireError(f"{key} is neither true nor false")
    return value


def _whole(value: object, least: int, what: str, most: int = _INT63) -> int:
    if type(value) is not int or not least <= value <= most:
        raise WireError(f"{what} is no whole number from {least} to {most}")
    return value


def _list(value: object, most: int, what: str) -> Sequence[object]:
    if not isinstance(value, list) or len(value) > most:
        raise WireError(f"{what} is no list of at most {most}")
    return value


def _row(row: object, length: int) -> Sequence[object]:
    if not isinstance(row, list) or len(row) != length:
        raise WireError(f"a row has not {length} parts")
    return row


def _channel(value: object) -> str:
    if not isinstance(value, str) or value not in CHANNELS:
        raise WireError("its channel is none of a sensor")
    return value


def _bytes(value: object) -> bytes:
    if not isinstance(value, str) or len(value) > 2 * LONGEST_PAYLOAD or not _HEX.fullmatch(value):
        raise WireError(f"a payload is no hexadecimal text of at most {LONGEST_PAYLOAD} bytes")
    return bytes.fromhex(value)
