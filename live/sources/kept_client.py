"""A client of a broker that is made again whenever it is lost: the one loop that connects again.

Every message is stamped inside the client's own read callback and passed on at once: the queue that
the client library puts messages into is one of ours that keeps nothing (the stamp would otherwise
be as late as whoever empties the queue).
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
import secrets
from collections.abc import Callable
from typing import Final, Protocol

import aiomqtt

from live.sources import broker
from live.sources.attempt import Attempt
from live.sources.base import CaptureClock
from replay.broker import Broker
from replay.event import NS_PER_S
from replay.link_state import LinkState

FIRST_WAIT_S: Final = 0.5
LONGEST_WAIT_S: Final = 8.0
"""Between two attempts at a broker that is out of reach: a tester who switches it on should not
have to wait longer."""
REFUSED_WAIT_S: Final = 30.0
"""A refusal does not heal by itself; asking often would look like an attack."""
SETTLED_NS: Final = 10 * NS_PER_S
"""A connection that held this long was a good one: the next attempt begins with the short wait."""

_log = logging.getLogger(__name__)


class Owner(Protocol):
    """Whose client it is.  All calls come on the loop."""

    def hear(self, t_ns: int, message: aiomqtt.Message) -> None:
        """Take one message, stamped, inside the read callback."""

    async def joined(self, client: aiomqtt.Client) -> None:
        """Subscribe on a connection that has just been made; may raise what the client raises."""

    def lost(self, state: LinkState, sentence: str) -> None:
        """Take that the connection could not be made or has ended, and why."""


class KeptClient:
    """One client, kept until cancelled.

    ``will``: published by the broker when this end vanishes.  ``prepared``: is given each new
    client before it connects.  Raises :class:`~replay.errors.PlanError` for what can be known
    beforehand.
    """

    def __init__(
        self,
        to: Broker,
        owner: Owner,
        *,
        will: Callable[[], aiomqtt.Will] | None = None,
        prepared: Callable[[Attempt], None] = lambda _: None,
    ) -> None:
        self._to = to
        self._owner = owner
        self._will = will
        self._prepared = prepared
        self._password = broker.password_of(to)
        self._tls = broker.tls_of(to)
        self._identifier = f"sidebeat-{secrets.token_hex(4)}"
        self._version = broker.first_version(to)
        self._was_let_in = False
        self.hurry: Final = asyncio.Event()
        """Set by whoever wants it tried at once."""
        self.client: aiomqtt.Client | None = None
        """While the connection stands."""

    async def run(self, clock: CaptureClock) -> None:
        """Stay connected until cancelled; then leave the broker in good order."""
        wait_s = FIRST_WAIT_S
        while True:
            began_ns = clock.now_ns()
            client = self._new(clock)
            try:
                async with client:
                    await self._owner.joined(client)
                    self.client = client
                    self._was_let_in = True
                    async for _ in client.messages:
                        pass  # never reached: the queue keeps nothing, see _queue_type
            except (aiomqtt.MqttError, OSError, ValueError) as error:
                _end_if_cancelled(error)
                if self.client is None and broker.may_be_older(error):
                    was_newest = self._version is broker.NEWEST
                    self._version = broker.OLDER if was_newest else broker.first_version(self._to)
                    if was_newest and isinstance(error, aiomqtt.exceptions.MqttConnectError):
                        continue  # it says so itself: nothing is wrong with it yet
                state, sentence = await broker.understood(
                    error, self._to, was_let_in=self._was_let_in
                )
            finally:
                self.client = None
                client.end()
            self._owner.lost(state, sentence)
            if clock.now_ns() - began_ns > SETTLED_NS:
                wait_s = FIRST_WAIT_S
            if state is LinkState.REFUSED:
                wait_s = REFUSED_WAIT_S
            await self._pause(wait_s * random.uniform(0.8, 1.0))
            wait_s = min(wait_s * 2, LONGEST_WAIT_S)

    def _new(self, clock: CaptureClock) -> Attempt:
        client = broker.new_client(
            self._to,
            self._identifier,
            self._password,
            self._tls,
            queue_type=_queue_type(clock, self._owner.hear),
            version=self._version,
            will=self._will() if self._will is not None else None,
        )
        self._prepared(client)
        return client

    async def _pause(self, wait_s: float) -> None:
        self.hurry.clear()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(wait_s):
                await self.hurry.wait()


def _queue_type(
    clock: CaptureClock, hear: Callable[[int, aiomqtt.Message], None]
) -> type[asyncio.Queue[aiomqtt.Message]]:
    """A queue class that stamps what is put into it, passes it on at once and keeps nothing."""

    class Stamping(asyncio.Queue[aiomqtt.Message]):
        def _put(self, item: aiomqtt.Message) -> None:
            t_ns = clock.now_ns()
            try:
                hear(t_ns, item)
            except Exception:
                # Inside the client's read callback an error would end the connection.
                _log.exception("a message on %s was lost", item.topic)

    return Stamping


def _end_if_cancelled(error: Exception) -> None:
    """The cancellation counts where leaving the broker fails meanwhile."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError from error
