"""The connection of a node, or of a capture that listens to nodes, to their broker: kept for good.

Every message is stamped inside the client's own read callback
(:mod:`live.sources.kept_client`); so the stamps of a clock exchange are as early as Python can have
them.  Nothing is sent with a receipt: what is lost is asked for again by its number, since a
broker's own queue is bounded and gone when it restarts.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import Final

import aiomqtt

from live.sources import broker
from live.sources.base import CaptureClock
from live.sources.kept_client import KeptClient
from replay.broker import Broker
from replay.link_state import LinkState

NEWS_S: Final = 0.2
"""How long a failed sender waits for the connection to be noticed as lost."""


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
        self._kept = KeptClient(to, self, will=will)
        self._sending: set[asyncio.Timeout] = set()
        self.up: Final = asyncio.Event()
        """Set while the connection stands."""
        self.down: Final = asyncio.Event()
        """Set while it does not."""
        self.down.set()

    def hurry(self) -> None:
        """Try at once instead of waiting."""
        self._kept.hurry.set()

    async def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> bool:
        """Hand a message over; whether the connection stood.  It may be lost all the same."""
        client = self._kept.client
        if client is None:
            return False
        try:
            async with asyncio.timeout(None) as patience:
                self._sending.add(patience)
                try:
                    await client.publish(topic, payload, retain=retain)
                finally:
                    self._sending.discard(patience)
        except TimeoutError:  # it was lost meanwhile, see _is_down
            return False
        except (aiomqtt.MqttError, OSError, ValueError):
            await asyncio.sleep(NEWS_S)
            return False
        return True

    async def run(self, clock: CaptureClock) -> None:
        """Stay connected until cancelled."""
        try:
            await self._kept.run(clock)
        finally:
            self._is_down()

    def hear(self, t_ns: int, message: aiomqtt.Message) -> None:
        """As :class:`~live.sources.kept_client.Owner` says."""
        payload = bytes(message.payload or b"")
        self._hear(t_ns, str(message.topic), payload, bool(message.retain))

    async def joined(self, client: aiomqtt.Client) -> None:
        """As :class:`~live.sources.kept_client.Owner` says."""
        granted = await client.subscribe([(topic, 0) for topic in self._topics])
        answers = zip(self._topics, granted, strict=True)
        refused = next((topic for topic, code in answers if broker.is_refusal(code)), "")
        self.down.clear()
        self.up.set()
        self._changed(
            LinkState.REFUSED if refused else LinkState.STREAMING,
            broker.may_not_read(self._to, refused) if refused else "",
        )

    def lost(self, state: LinkState, sentence: str) -> None:
        """As :class:`~live.sources.kept_client.Owner` says."""
        self._is_down()
        self._changed(state, sentence)

    def _is_down(self) -> None:
        self.up.clear()
        self.down.set()
        # The library waits for a line that is gone to take a message as for one that is slow.
        now_s = asyncio.get_running_loop().time()
        while self._sending:
            self._sending.pop().reschedule(now_s)
