"""The connection of a node, or of a capture that listens to nodes, to their broker: kept for good.

Every message is stamped inside the client's own read callback and passed on at once, as
:mod:`live.sources.mqtt` does; so the stamps of a clock exchange are as early as Python can have
them.  Nothing is sent with a receipt: what is lost is asked for again by its number, since a
broker's own queue is bounded and gone when it restarts.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
import secrets
from collections.abc import Callable, Sequence
from typing import Final

import aiomqtt

from live.sources import broker
from live.sources.base import CaptureClock
from live.sources.mqtt import FIRST_WAIT_S, LONGEST_WAIT_S, REFUSED_WAIT_S, SETTLED_NS
from replay.broker import Broker
from replay.link_state import LinkState

NEWS_S: Final = 0.2
"""How long a failed sender waits for the connection to be noticed as lost."""

_log = logging.getLogger(__name__)


class Connection:
    """One client of a broker, made again whenever it is lost.

    ``topics``: subscribed each time.  ``hear(t_ns, topic, payload, retained)``: each message, on
    the loop, inside the read callback.  ``changed(state, sentence)``: the connection stands
    (``STREAMING``), or why it does not.  ``will``: published by the broker when this end vanishes.
    Raises :class:`~replay.errors.PlanError` for what can be known beforehand.
    """

    def __init__(
        self,
        to: Broker,
        topics: Sequence[str],
        *,
        hear: Callable[[int, str, bytes, bool], None],
        changed: Callable[[LinkState, str], None],
        will: Callable[[], aiomqtt.Will] | None = None,
    ) -> None:
        self._to = to
        self._topics = topics
        self._hear = hear
        self._changed = changed
        self._will = will
        self._password = broker.password_of(to)
        self._tls = broker.tls_of(to)
        self._identifier = f"sidebeat-{secrets.token_hex(4)}"
        self._version = broker.NEWEST
        self._hurry = asyncio.Event()
        self._client: aiomqtt.Client | None = None
        self.up: Final = asyncio.Event()
        """Set while the connection stands."""
        self.down: Final = asyncio.Event()
        """Set while it does not."""
        self.down.set()

    def hurry(self) -> None:
        """Try at once instead of waiting."""
        self._hurry.set()

    async def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        """Hand a message over; whether the connection stood.  It may be lost all the same."""
        client = self._client
        if client is None:
            return False
        try:
            await client.publish(topic, payload, retain=retain)
        except (aiomqtt.MqttError, OSError, ValueError):
            await asyncio.sleep(NEWS_S)
            return False
        return True

    async def run(self, clock: CaptureClock) -> None:
        """Stay connected until cancelled."""
        wait_s = FIRST_WAIT_S
        while True:
            began_ns = clock.now_ns()
            client = broker.new_client(
                self._to,
                self._identifier,
                self._password,
                self._tls,
                queue_type=_queue_type(clock, self._hear),
                version=self._version,
                will=self._will() if self._will is not None else None,
            )
            try:
                async with client:
                    refused = await self._subscribe(client)
                    self._client = client
                    self.down.clear()
                    self.up.set()
                    self._changed(
                        LinkState.REFUSED if refused else LinkState.STREAMING,
                        broker.may_not_read(self._to, refused) if refused else "",
                    )
                    async for _ in client.messages:
                        pass  # never reached: the queue keeps nothing
            except (aiomqtt.MqttError, OSError, ValueError) as error:
                task = asyncio.current_task()
                if task is not None and task.cancelling():
                    raise asyncio.CancelledError from error
                if self._client is None and broker.may_be_older(error):
                    was_newest = self._version is broker.NEWEST
                    self._version = broker.OLDER if was_newest else broker.NEWEST
                    if was_newest and isinstance(error, aiomqtt.exceptions.MqttConnectError):
                        continue
                state, sentence = await broker.understood(error, self._to)
            finally:
                self._client = None
                self.up.clear()
                self.down.set()
                broker.left(client)
            self._changed(state, sentence)
            if clock.now_ns() - began_ns > SETTLED_NS:
                wait_s = FIRST_WAIT_S
            if state is LinkState.REFUSED:
                wait_s = REFUSED_WAIT_S
            await self._pause(wait_s * random.uniform(0.8, 1.0))
            wait_s = min(wait_s * 2, LONGEST_WAIT_S)

    async def _subscribe(self, client: aiomqtt.Client) -> str:
        """The first topic that may not be read; empty if there is none."""
        granted = await client.subscribe([(topic, 0) for topic in self._topics])
        for topic, code in zip(self._topics, granted, strict=True):
            if broker.is_refusal(code):
                return topic
        return ""

    async def _pause(self, wait_s: float) -> None:
        self._hurry.clear()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._hurry.wait(), wait_s)


def _queue_type(
    clock: CaptureClock, hear: Callable[[int, str, bytes, bool], None]
) -> type[asyncio.Queue[aiomqtt.Message]]:
    """A queue class that stamps what is put into it, passes it on at once and keeps nothing."""

    class Stamping(asyncio.Queue[aiomqtt.Message]):
        def _put(self, item: aiomqtt.Message) -> None:
            t_ns = clock.now_ns()
            try:
                hear(t_ns, str(item.topic), bytes(item.payload or b""), bool(item.retain))
            except Exception:
                # Inside the client's read callback an error would end the connection.
                _log.exception("a message on %s was lost", item.topic)

    return Stamping
