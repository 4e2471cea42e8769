"""The node's side: passes on what its capture takes, and answers what readers ask.

Every event has a number, counted from 1, and the newest are kept.  One sender walks along them; a
reader that misses some asks from where, and the sender goes back there.  So all comes in order,
however often the connection was lost, and readers leave out what they had.  What is older than what
is kept is in the node's own capture.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import uuid
from collections import deque
from collections.abc import Callable, Sequence
from itertools import islice
from typing import Final

import aiomqtt

from live.sources.base import CaptureClock, Emit
from live.sources.node import wire
from live.sources.node.connection import Connection
from live.sources.tasks import until_one_fails
from replay.broker import Broker
from replay.channels import LASTING_CHANNELS
from replay.event import SESSION, Event
from replay.link_state import LinkState

MOST_KEPT: Final = 100_000
"""Events: six sensors fill it in some three hours, and it takes 20 MB."""
LEAST_AGAIN_NS: Final = 2_000_000_000
"""Between two attempts at one sensor that a reader asks for: whoever may ask cannot keep the radio
from its other work."""
PROBE_S: Final = 10.0
"""How often it is asked whether another computer answers to the same name."""


class NodeRelay:
    """Both a source, which never has events of its own, and the place where all events go.

    ``sensors``: whom it listens to, with their numbers in the node's own plan.  ``say``: takes one
    line for whoever looks at the node.  ``try_again``: is given a sensor that a reader wants tried
    again at once.
    """

    def __init__(
        self,
        to: Broker,
        name: str,
        sensors: Sequence[wire.NodeSensor],
        say: Callable[[str], None],
        *,
        most_kept: int = MOST_KEPT,
        try_again: Callable[[int], None] = lambda _: None,
    ) -> None:
        self._name = name
        self._sensors = tuple(sensors)
        self._numbers = frozenset(one.number for one in sensors)
        self._say = say
        self._run = uuid.uuid4().hex[: wire.RUN_DIGITS]
        self._token = secrets.token_hex(8)
        self._kept: deque[wire.Told] = deque(maxlen=most_kept)
        self._facts: dict[tuple[int, str], bytes] = {}
        self._newest = 0
        self._cursor = 1
        self._news = asyncio.Event()
        self._asked: asyncio.Queue[tuple[int, wire.Ask]] = asyncio.Queue(maxsize=1000)
        self._others: set[str] = set()
        self._try_again = try_again
        self._tried_ns: dict[int, int] = {}
        self._said = ""
        self.refused = 0
        """Messages that made no sense."""
        self._connection = Connection(
            to,
            [wire.topic(name, "ask"), wire.topic(name, f"answer/{self._token}")],
            hear=self._hear,
            changed=self._changed,
            will=lambda: aiomqtt.Will(
                wire.topic(name, "state"), self._state(online=False), qos=1, retain=True
            ),
        )

    # From the capture.

    def begin(self, session_uuid: str) -> None:
        """The capture's file has this UUID."""
        self._run = uuid.UUID(session_uuid).hex[: wire.RUN_DIGITS]

    def put(self, event: Event) -> None:
        """Take one event of the capture; never blocks."""
        if event.sensor == SESSION or event.sensor not in self._numbers:
            return
        if event.channel not in wire.CHANNELS or len(event.payload) > wire.LONGEST_PAYLOAD:
            return
        self._newest += 1
        self._kept.append(
            wire.Told(self._newest, event.t_ns, event.sensor, event.channel, event.payload)
        )
        if event.channel in LASTING_CHANNELS:
            self._facts.pop((event.sensor, event.channel), None)
            self._facts[event.sensor, event.channel] = event.payload
        self._news.set()

    # As a source.

    def connect(self, sensor: int) -> None:  # noqa: ARG002 - all sensors have one broker
        """Try the broker again at once."""
        self._connection.hurry()

    async def run(self, clock: CaptureClock, _emit: Emit) -> None:
        """Serve until cancelled; then say so."""
        self._clock = clock
        tasks = [
            asyncio.ensure_future(part)
            for part in (self._send(), self._answer(), self._probe(), self._connection.run(clock))
        ]
        try:
            await until_one_fails(tasks)
        finally:
            for task in tasks[:-1]:
                task.cancel()
            await self._leave()
            tasks[-1].cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _leave(self) -> None:
        """A connection that is ended in good order has no last will."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(2):
                await self._connection.publish(
                    wire.topic(self._name, "state"), self._state(online=False), retain=True
                )

    async def _send(self) -> None:
        while True:
            if self._cursor > self._newest:
                self._news.clear()
                await self._news.wait()
            await self._connection.up.wait()
            first = self._first
            self._cursor = max(self._cursor, first)
            at = self._cursor - first
            batch = list(islice(self._kept, at, at + wire.MOST_EVENTS))
            if not batch:
                continue
            before = self._cursor
            payload = wire.pack_events(self._run, batch)
            done = await self._connection.publish(wire.topic(self._name, "events"), payload)
            if done and self._cursor == before:  # else a reader asked for earlier ones meanwhile
                self._cursor += len(batch)
            await asyncio.sleep(0)

    @property
    def _first(self) -> int:
        """The oldest that is kept, or the next if there is none."""
        return self._newest - len(self._kept) + 1

    async def _answer(self) -> None:
        while True:
            received_ns, ask = await self._asked.get()
            if ask.seq is not None and ask.run == self._run and ask.seq < self._cursor:
                self._cursor = max(ask.seq, self._first)
                self._news.set()
            self._heed(received_ns, ask)
            facts = None
            if ask.facts:
                facts = tuple(wire.Fact(*key, payload) for key, payload in self._facts.items())
            first, newest = self._first, self._newest
            answer = wire.Answer(
                self._run, ask.n, received_ns, self._clock.now_ns(), first, newest, facts
            )
            await self._connection.publish(
                wire.topic(self._name, f"answer/{ask.reader}"), wire.pack_answer(answer)
            )

    def _heed(self, now_ns: int, ask: wire.Ask) -> None:
        """Try a sensor again, if that is asked, and not more often than a radio can."""
        sensor = ask.connect
        if sensor not in self._numbers or ask.run != self._run:
            return
        before = self._tried_ns.get(sensor)
        if before is None or now_ns - before >= LEAST_AGAIN_NS:
            self._tried_ns[sensor] = now_ns
            self._try_again(sensor)

    async def _probe(self) -> None:
        """Tell that it is there whenever the broker is, and ask whether it is alone."""
        while True:
            await self._connection.up.wait()
            await self._connection.publish(
                wire.topic(self._name, "state"), self._state(online=True), retain=True
            )
            is_down = False
            while not is_down:
                ask = wire.pack_ask(wire.Ask(self._token, 0))
                await self._connection.publish(wire.topic(self._name, "ask"), ask)
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(PROBE_S):
                        is_down = await self._connection.down.wait()

    def _hear(self, t_ns: int, topic: str, payload: bytes, retained: bool) -> None:
        try:
            if topic == wire.topic(self._name, "ask"):
                if not retained and not self._asked.full():
                    self._asked.put_nowait((t_ns, wire.read_ask(payload)))
            elif (other := wire.read_answer(payload).run) != self._run:
                self._meet(other)
        except wire.WireError:
            self.refused += 1

    def _meet(self, other: str) -> None:
        if other not in self._others:
            self._others.add(other)
            self._say(
                f"Another computer is a node called {self._name!r} on this broker: give one of "
                "them another --name.  This one goes on and keeps its own capture."
            )

    def _changed(self, state: LinkState, sentence: str) -> None:
        said = sentence or f"Node {self._name!r} is connected to its broker."
        if state is not LinkState.STREAMING:
            said += "  The node goes on and passes on afterwards what it hears meanwhile."
        if said != self._said:
            self._said = said
            self._say(said)

    def _state(self, *, online: bool) -> bytes:
        return wire.pack_state(wire.State(self._run, online, self._sensors))
