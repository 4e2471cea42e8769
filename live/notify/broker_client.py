"""A connection to the plan's broker for whoever publishes: in threads that no capture depends on.

The client library connects again by itself and sends once more what was not confirmed.  All
methods are called on one thread and none waits, but for ``close``; what the library's own thread
has to say is left in fields that are read there.
"""

from __future__ import annotations

import contextlib
import secrets
import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Final, NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from live.sources.attempt import bound_reading, let_go
from live.sources.broker import password_of, tls_of, where
from replay.broker import Broker

AT_LEAST_ONCE: Final = 1
AT_MOST_ONCE: Final = 0
LONGEST_QUEUE: Final = 1000
"""Messages kept for a broker that is away; hours of the worst session's warnings."""
MOST_UNSENT: Final = 200
"""Messages that need not arrive, on the way to a broker that is slow: some seconds of many
sensors."""
KEEPALIVE_S: Final = 15
FAREWELL_S: Final = 3.0
"""How long the end waits for the broker to take what is left."""
GOODBYE_S: Final = 1.0
"""How long the last packet of all may take."""
PATIENCE_S: Final = 8.0
"""A broker out of reach for so long is mentioned; shorter absences heal by themselves."""
MOST_HEARD: Final = 1000
"""Messages from the broker that are kept until somebody asks for them."""


class Heard(NamedTuple):
    """A message that came; ``stored``: the broker had kept it (*retained*)."""

    topic: str
    payload: bytes
    stored: bool


class BrokerClient:
    """Publishes to one broker, and comes back by itself after it was away.

    ``loss``: what is not done while the broker is away, behind the sentence about it.  ``will``:
    topic and text that the broker publishes and keeps when this client goes without a word.
    ``connections``: how often the broker has let it in so far; another number means that a broker
    may have forgotten what it had kept.  ``left_out``: messages that could not be kept.  Raises
    :class:`~replay.errors.PlanError` for a broker that cannot be meant.
    """

    def __init__(
        self,
        broker: Broker,
        loss: str,
        *,
        will: tuple[str, str] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._loss = loss
        self._clock = clock
        self._where = f"the broker at {where(broker)}"
        self.connected = False
        self.connections = 0
        self.refusal = ""
        """Why the broker lets this computer not in, in its own words; empty if it does."""
        self.left_out = 0
        self.pending: set[int] = set()  # to be confirmed by the broker
        self.leaving: set[int] = set()  # need not be confirmed, and not yet on the line
        self._counted = 0  # connections that ``leaving`` is of
        self._gone: deque[int] = deque()  # numbers of messages, from the library's thread
        self._news = threading.Event()
        self._heard: deque[Heard] = deque(maxlen=MOST_HEARD)
        self._away_since = clock()
        self._trouble = ""
        self._said = False
        # The same identity at each attempt: the broker then ends what it believes is still there,
        # with its will, before it lets this one in and not after.
        self.connection = paho.Client(
            CallbackAPIVersion.VERSION2, client_id=f"sidebeat-{secrets.token_hex(4)}"
        )
        password = password_of(broker)
        if broker.username:
            self.connection.username_pw_set(broker.username, password)
        tls = tls_of(broker)
        if tls is not None:
            self.connection.tls_set_context(tls)
        if will is not None:
            self.connection.will_set(will[0], will[1], qos=AT_LEAST_ONCE, retain=True)
        bound_reading(self.connection)
        self.connection.max_queued_messages_set(LONGEST_QUEUE)
        self.connection.reconnect_delay_set(1, 15)
        self.connection.on_connect = self._on_connect
        self.connection.on_disconnect = self._on_disconnect
        self.connection.on_publish = self._on_publish
        self.connection.on_message = self._on_message
        self.connection.connect_async(broker.host, broker.port, keepalive=KEEPALIVE_S)
        self.connection.loop_start()

    def send(self, topic: str, text: str, *, retain: bool = False) -> int | None:
        """Publish at least once; kept for a broker that is away.

        The message's number, for :meth:`is_pending`; ``None`` if no more can be kept.
        """
        info = self.connection.publish(topic, text, qos=AT_LEAST_ONCE, retain=retain)
        if info.rc == paho.MQTT_ERR_QUEUE_SIZE:
            self.left_out += 1
            self.complain(f"{self._where} is away, and no more messages can be kept")
            return None
        self.pending.add(info.mid)
        return info.mid

    def mention(self, topic: str, text: str) -> bool:
        """Publish at most once, if the broker is there and keeps up; whether it was tried."""
        self._settle()
        if not self.connected or len(self.leaving) >= MOST_UNSENT:
            self.left_out += 1
            return False
        info = self.connection.publish(topic, text, qos=AT_MOST_ONCE)
        self.leaving.add(info.mid)
        return info.rc == paho.MQTT_ERR_SUCCESS

    def is_pending(self, number: int) -> bool:
        """Whether the broker has not confirmed a message yet."""
        self._settle()
        return number in self.pending

    def listen(self, *topics: str) -> None:
        """Hear these topics on the present connection, as far as the broker allows."""
        self.connection.subscribe([(topic, AT_MOST_ONCE) for topic in topics])

    def hush(self, topic: str) -> None:
        """Hear a topic no more."""
        self.connection.unsubscribe(topic)

    def heard(self) -> list[Heard]:
        """What came since the last call, the newest :data:`MOST_HEARD` of it."""
        found = []
        while self._heard:
            found.append(self._heard.popleft())
        return found

    def tend(self) -> None:
        """See whether the broker is there."""
        self._settle()
        if self.connected or self._clock() - self._away_since < PATIENCE_S:
            return
        why = f"refuses this computer ({self.refusal})" if self.refusal else "cannot be reached"
        self.complain(f"{self._where} {why}; {self._loss}")

    def trouble(self) -> str:
        """One sentence about the first thing that went wrong; once in a session."""
        said, self._trouble = self._trouble, ""
        return said

    def complain(self, what: str) -> None:
        """Let :meth:`trouble` say this, if it has said nothing yet."""
        if not self._said:
            self._said = True
            self._trouble = what

    def close(self, farewell_s: float = FAREWELL_S) -> None:
        """Wait a moment until the broker has everything, then leave it."""
        give_up = time.monotonic() + farewell_s
        while self._unsettled() and (left_s := give_up - time.monotonic()) > 0:
            self._news.wait(left_s)
        self.connection.disconnect()
        give_up = time.monotonic() + GOODBYE_S
        while self.connected and time.monotonic() < give_up:
            time.sleep(0.01)
        # A broker that takes nothing does not take the farewell either; it has the will.
        line = self.connection.socket()
        if self.connected and isinstance(line, socket.socket):
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
        self.connection.loop_stop()
        let_go(self.connection)

    def _unsettled(self) -> bool:
        self._news.clear()
        self._settle()
        return bool(self.pending)

    def _settle(self) -> None:
        """Take note of what has left.

        Here and not in the library's thread, which may be quicker than ``publish`` is in telling
        the number.
        """
        while self._gone:
            number = self._gone.popleft()
            self.pending.discard(number)
            self.leaving.discard(number)
        if self._counted != self.connections:  # what was on the way is lost, and told to nobody
            self._counted = self.connections
            self.leaving.clear()

    # Called in the client's own thread.

    def _on_connect(
        self,
        _client: paho.Client,
        _data: object,
        _flags: paho.ConnectFlags,
        code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self.refusal = str(code) if code.is_failure else ""
        if not code.is_failure:
            self.connections += 1
        self.connected = not code.is_failure

    def _on_disconnect(
        self,
        _client: paho.Client,
        _data: object,
        _flags: paho.DisconnectFlags,
        _code: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if self.connected:
            self._away_since = self._clock()
        self.connected = False

    def _on_publish(
        self,
        _client: paho.Client,
        _data: object,
        number: int,
        _code: ReasonCode,
        _properties: Properties,
    ) -> None:
        self._gone.append(number)
        self._news.set()

    def _on_message(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        self._heard.append(Heard(message.topic, bytes(message.payload), message.retain))
