"""A reader of the board that is published over MQTT; every message it sees must fit the schema."""

from __future__ import annotations

import copy
import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import paho.mqtt.client as paho
from jsonschema import Draft202012Validator, FormatChecker
from paho.mqtt.enums import CallbackAPIVersion

from live.notify.board_messages import schema_text
from live.sources.attempt import let_go

PATIENCE_S = 40.0
SCHEMA: dict[str, Any] = json.loads(schema_text())


def _strict(schema: dict[str, Any]) -> dict[str, Any]:
    """The same, but no key may be there that it does not describe."""
    schema = copy.deepcopy(schema)
    waiting: list[Any] = [schema]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            if "properties" in one:
                one["additionalProperties"] = False
            waiting += one.values()
        elif isinstance(one, list):
            waiting += one
    return schema


_STRICT = _strict(SCHEMA)


def definition_of(topic: str, prefix: str) -> str:
    """Which of the schema's ``$defs`` a topic's messages must fit."""
    rest = topic.removeprefix(f"{prefix}/").split("/")
    match rest:
        case ["state" | "session" | "warnings"]:
            return rest[0]
        case ["warnings", "event"]:
            return "warning_event"
        case ["sensors", _, "reading" | "status" | "agreement"]:
            return rest[2]
    raise AssertionError(f"nothing is said of the topic {topic}")


def checked(topic: str, text: str | bytes, prefix: str) -> dict[str, Any]:
    """The facts of a message; fails where it does not fit the schema, or has keys beside it."""
    facts: dict[str, Any] = json.loads(text)
    wanted = {**_STRICT, "$ref": f"#/$defs/{definition_of(topic, prefix)}"}
    wanted.pop("oneOf")
    Draft202012Validator(wanted, format_checker=FormatChecker()).validate(facts)
    Draft202012Validator(SCHEMA).validate(facts)
    return facts


class BoardReader:
    """Subscribed to everything under a prefix.

    ``retained``: what the broker had kept as it came, by the topic behind the prefix; ``newest``:
    the newest of each, kept or not; ``told``: all, in order; ``wrong``: what did not fit.
    """

    def __init__(self, port: int, prefix: str) -> None:
        self._prefix = prefix
        self._news = threading.Condition()
        self._ready = threading.Event()
        self.retained: dict[str, dict[str, Any]] = {}
        self.newest: dict[str, dict[str, Any]] = {}
        self.told: list[tuple[str, dict[str, Any]]] = []
        self.wrong: list[str] = []
        self.qos: dict[str, int] = {}
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = self._on_message
        self._client.on_connect = lambda client, *_: client.subscribe(f"{prefix}/#", qos=2)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._ready.wait(PATIENCE_S)

    def until(self, condition: Callable[[], object], what: str) -> None:
        """Wait for a condition on what came; every message must fit."""
        give_up = time.monotonic() + PATIENCE_S
        with self._news:
            while not condition():
                assert not self.wrong, self.wrong
                left_s = give_up - time.monotonic()
                assert left_s > 0, f"no {what}; newest: {self.newest}"
                self._news.wait(min(left_s, 0.2))
        assert not self.wrong, self.wrong

    def events(self, topic: str) -> list[dict[str, Any]]:
        """All that came on a topic, in order."""
        with self._news:
            return [facts for name, facts in self.told if name == topic]

    @property
    def state(self) -> str:
        """What the newest message on the state says; empty before the first."""
        return str(self.newest.get("state", {}).get("state", ""))

    def close(self) -> None:
        """Leave; every message must have fitted."""
        self._client.disconnect()
        self._client.loop_stop()
        let_go(self._client)
        assert not self.wrong, self.wrong

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        topic = message.topic.removeprefix(f"{self._prefix}/")
        with self._news:
            if not message.payload:
                self.newest.pop(topic, None)
            else:
                try:
                    facts = checked(message.topic, message.payload, self._prefix)
                except Exception as error:
                    self.wrong.append(f"{message.topic}: {error}")
                    return
                if message.retain:
                    self.retained[topic] = facts
                self.newest[topic] = facts
                self.qos[topic] = message.qos
                self.told.append((topic, facts))
            self._news.notify_all()


@contextmanager
def reading_board(port: int, prefix: str) -> Iterator[BoardReader]:
    """A reader for the length of a ``with`` block."""
    reader = BoardReader(port, prefix)
    try:
        yield reader
    finally:
        reader.close()
