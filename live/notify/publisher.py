"""Publishes warnings over MQTT, from a process and threads that no capture depends on."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from typing import Final

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from live.notify.throttle import AlarmCall, Call, CallReason
from live.sources.broker import password_of, tls_of
from replay.broker import Broker

AT_LEAST_ONCE: Final = 1
LONGEST_QUEUE: Final = 1000
"""Messages kept for a broker that is away; hours of the worst session."""
FAREWELL_S: Final = 3.0
"""How long the end waits for the broker to take what is left."""
PATIENCE_S: Final = 8.0
"""A broker out of reach for so long is mentioned; shorter absences heal by themselves."""


class Publisher:
    """A :class:`~live.notify.notifier.Channel` that publishes start and end of each warning.

    The client library keeps what cannot be sent yet and connects again by itself.  Raises
    :class:`~replay.errors.PlanError` for a broker that cannot be meant.
    """

    def __init__(
        self,
        broker: Broker,
        topic: str,
        facts_of: Callable[[Call | AlarmCall], dict[str, object]],
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._topic = topic
        self._facts_of = facts_of
        self._clock = clock
        self._where = f"the broker at {broker.host}:{broker.port}"
        self._taken = threading.Condition()
        self._unsent: set[int] = set()
        self._early: set[int] = set()  # confirmed before publish() had returned their number
        self._connected = False
        self.refusal = ""
        """Why the broker lets this computer not in, in its own words; empty if it does."""
        self._away_since = clock()
        self._trouble = ""
        self._said = False
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        password = password_of(broker)
        if broker.username:
            self._client.username_pw_set(broker.username, password)
        tls = tls_of(broker)
        if tls is not None:
            self._client.tls_set_context(tls)
        self._client.max_queued_messages_set(LONGEST_QUEUE)
        self._client.reconnect_delay_set(1, 15)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_publish = self._on_publish
        self._client.connect_async(broker.host, broker.port, keepalive=15)
        self._client.loop_start()

    def call(self, call: Call | AlarmCall) -> None:
        """Publish the start or the end of a warning; a reminder is not for machines."""
        if call.reason is CallReason.REMINDER:
            return
        text = json.dumps(self._facts_of(call), ensure_ascii=False, allow_nan=False)
        info = self._client.publish(self._topic, text, qos=AT_LEAST_ONCE)
        if info.rc == paho.MQTT_ERR_QUEUE_SIZE:
            self._complain(f"{self._where} is away, and no more messages on warnings can be kept")
            return
        with self._taken:
            if info.mid in self._early:
                self._early.discard(info.mid)
            else:
                self._unsent.add(info.mid)

    def tend(self) -> None:
        """See whether the broker is there."""
        if self._connected or self._clock() - self._away_since < PATIENCE_S:
            return
        why = f"refuses this computer ({self.refusal})" if self.refusal else "cannot be reached"
        self._complain(f"{self._where} {why}; warnings are not published")

    def trouble(self) -> str:
        """One sentence about the first thing that went wrong; once in a session."""
        said, self._trouble = self._trouble, ""
        return said

    def close(self) -> None:
        """Wait a moment until the broker has everything, then leave it."""
        with self._taken:
            self._taken.wait_for(lambda: not self._unsent, FAREWELL_S)
        self._client.disconnect()
        self._client.loop_stop()

    def _complain(self, what: str) -> None:
        if not self._said:
            self._said = True
            self._trouble = what

    # Called in the client's own thread.

    def _on_connect(
        self,
        _client: paho.Client,
        _data: object,
        _flags: paho.ConnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._connected = not code.is_failure
        self.refusal = str(code) if code.is_failure else ""

    def _on_disconnect(
        self,
        _client: paho.Client,
        _data: object,
        _flags: paho.DisconnectFlags,
        _code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if self._connected:
            self._away_since = self._clock()
        self._connected = False

    def _on_publish(
        self,
        _client: paho.Client,
        _data: object,
        number: int,
        _code: ReasonCode,
        _properties: Properties,
    ) -> None:
        with self._taken:
            if number in self._unsent:
                self._unsent.discard(number)
            else:
                self._early.add(number)
            self._taken.notify_all()
