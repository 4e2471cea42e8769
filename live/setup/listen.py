"""``python -m live.setup.listen``: says who is in reach, again and again, as lines of JSON.

Each line is ``{"sensors": […]}`` with the facts of ``sidebeat sensors --json`` and ``age_s``, or
``{"problem": "…"}``.  On its standard input it is told, as lines of JSON ``{"ask": [addresses]}``,
which sensors are the tester's: only those are linked for a moment and asked for their details; and
``{"broker": {…}}``, where nodes are to be found as well, or ``null``: then lines ``{"node_sensors":
[…], "node_problem": "…"}`` come too, with the sensors as tables of a plan.  It ends when its
standard input closes, which happens when the page that started it goes, however it goes.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import sys
import threading
from typing import TYPE_CHECKING

from replay.broker import Broker, parse_broker
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from live.sources.node.wire import State

ROUND_S = 3.0
"""One round of listening: sensors advertise every 0.1 to 2 s."""
TOLD_S = 5.0
"""Nodes are told of this often, so that it is seen that they are still there."""
AGAIN_S = 4.0
"""Where Bluetooth cannot be used, it is tried again after this: it may be switched on meanwhile."""


async def listen(ours: set[str]) -> None:
    """Listen until cancelled.  ``ours``: addresses that may be asked, in upper case."""
    from live.sources.bluetooth import BluetoothUnavailable, watch  # noqa: PLC0415 - imports bleak

    while True:
        try:
            async for sightings in watch(ROUND_S, wanted=lambda address: address.upper() in ours):
                rows = [{**one.sensor.facts(), "age_s": one.age_s} for one in sightings]
                _say({"sensors": rows})
        except BluetoothUnavailable as error:
            _say({"problem": str(error)})
            await asyncio.sleep(AGAIN_S)


def main() -> int:
    """Listen until standard input closes."""
    # Ctrl-C is for the page, which then closes our standard input.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(_until_input_closes(runner.get_loop()))
    return 0


async def _until_input_closes(loop: asyncio.AbstractEventLoop) -> None:
    ours: set[str] = set()
    nodes = Nodes()
    task = asyncio.ensure_future(
        asyncio.wait(
            [asyncio.ensure_future(listen(ours)), asyncio.ensure_future(nodes.run())],
            return_when=asyncio.FIRST_COMPLETED,
        )
    )

    def wait_for_end() -> None:
        with contextlib.suppress(OSError, ValueError):
            for line in sys.stdin:
                take(line, ours)
                loop.call_soon_threadsafe(nodes.take, line)
        with contextlib.suppress(RuntimeError):  # the loop has ended by itself
            loop.call_soon_threadsafe(task.cancel)

    threading.Thread(target=wait_for_end, daemon=True).start()
    with contextlib.suppress(asyncio.CancelledError, BrokenPipeError):
        await task


def take(line: str, ours: set[str]) -> None:
    """Take one line of the page: ``ours`` is then what it says; what makes no sense is ignored."""
    with contextlib.suppress(ValueError):
        said = json.loads(line)
        if isinstance(said, dict) and isinstance(said.get("ask"), list):
            told = {str(address).upper() for address in said["ask"]}
            ours -= ours - told
            ours |= told


class Nodes:
    """Who is a node at the broker that the page names."""

    def __init__(self) -> None:
        self._broker: Broker | None = None
        self._changed = asyncio.Event()
        self._said = ""
        self._states: dict[str, State] = {}

    def take(self, line: str) -> None:
        """Take one line of the page; what makes no sense is ignored."""
        with contextlib.suppress(ValueError, SidebeatError):
            said = json.loads(line)
            if isinstance(said, dict) and "broker" in said:
                named = said["broker"]
                broker = None if named is None else parse_broker(named)
                if broker != self._broker:
                    self._broker = broker
                    self._changed.set()

    async def run(self) -> None:
        """Listen until cancelled, at whichever broker is named now."""
        while True:
            self._changed.clear()
            broker, self._said, self._states = self._broker, "", {}
            changed = asyncio.ensure_future(self._changed.wait())
            tasks: list[asyncio.Future[None]] = []
            if broker is not None:
                tasks = [
                    asyncio.ensure_future(part) for part in (self._watch(broker), self._tell())
                ]
            try:
                await changed
            finally:
                changed.cancel()
                for task in tasks:
                    task.cancel()
                await asyncio.gather(*tasks, return_exceptions=True)

    async def _watch(self, broker: Broker) -> None:
        from live.sources.node.listing import watch_nodes  # noqa: PLC0415 - imports the client

        try:
            await watch_nodes(broker, self._see, self._complain)
        except SidebeatError as error:  # a setting of the broker that cannot be right
            self._complain(str(error))

    def _see(self, states: dict[str, State]) -> None:
        self._states = states
        self._tell_once()

    def _complain(self, said: str) -> None:
        self._said = said
        self._tell_once()

    async def _tell(self) -> None:
        while True:
            await asyncio.sleep(TOLD_S)
            self._tell_once()

    def _tell_once(self) -> None:
        from live.sources.node.listing import sensors_of  # noqa: PLC0415 - as above

        rows = [] if self._said else [one.row() for one in sensors_of(self._states)]
        _say({"node_sensors": rows, "node_problem": self._said})


def _say(facts: dict[str, object]) -> None:
    print(json.dumps(facts, ensure_ascii=False), flush=True)


if __name__ == "__main__":
    sys.exit(main())
