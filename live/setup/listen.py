"""``python -m live.setup.listen``: says who is in reach, again and again, as lines of JSON.

Each line is ``{"sensors": […]}`` with the facts of ``sidebeat sensors --json`` and ``age_s``, or
``{"problem": "…"}``.  On its standard input it is told, as lines of JSON ``{"ask": [addresses]}``,
which sensors are the tester's: only those are linked for a moment and asked for their details.  It
ends when its standard input closes, which happens when the page that started it goes, however it
goes.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import sys
import threading

ROUND_S = 3.0
"""One round of listening: sensors advertise every 0.1 to 2 s."""
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
    task = asyncio.ensure_future(listen(ours))

    def wait_for_end() -> None:
        with contextlib.suppress(OSError, ValueError):
            for line in sys.stdin:
                take(line, ours)
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


def _say(facts: dict[str, object]) -> None:
    print(json.dumps(facts, ensure_ascii=False), flush=True)


if __name__ == "__main__":
    sys.exit(main())
