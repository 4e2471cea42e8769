"""A recording that is stopped while Bluetooth is at work: nothing goes on, nothing is said."""

from __future__ import annotations

import asyncio
import gc
from typing import Any

from live.sources.bluetooth.timeouts import begun
from tests.standins.bluez import BlueZ, bluez_fixture  # noqa: F401
from tests.standins.bluez_faults import PLAN
from tests.standins.bluez_session import Session


def _listen(complaints: list[dict[str, Any]]) -> None:
    """To what the loop would write on the tester's terminal."""
    asyncio.get_running_loop().set_exception_handler(lambda _, found: complaints.append(found))


def test_an_error_that_nobody_waits_for_any_more_is_no_complaint() -> None:
    """Whoever waited was cancelled in the moment in which the call failed."""
    complaints: list[dict[str, Any]] = []

    async def main() -> None:
        _listen(complaints)
        may_fail = asyncio.Event()

        async def fail() -> None:
            await may_fail.wait()
            raise OSError("the link is gone")

        async def wait() -> None:
            task = begun(fail())
            while not task.done():
                await asyncio.wait({task}, timeout=60)
            task.result()

        waiting = asyncio.create_task(wait())
        await asyncio.sleep(0)
        may_fail.set()
        await asyncio.sleep(0)
        waiting.cancel()
        await asyncio.gather(waiting, return_exceptions=True)

    asyncio.run(main())
    gc.collect()
    assert complaints == []


def test_a_scan_that_is_just_beginning_is_ended(bluez: BlueZ) -> None:
    """The daemon would go on with it, and refuse the next one."""
    bluez.daemon.discovery_s = 0.2
    complaints: list[dict[str, Any]] = []

    async def main() -> None:
        _listen(complaints)
        async with Session(PLAN) as session:
            await session.until(lambda: bluez.calls("StartDiscovery"))
            await session.stop()
            calls = {task.get_coro().__qualname__ for task in asyncio.all_tasks()}
            assert not {name for name in calls if name.startswith("BleakScanner")}

    asyncio.run(main())
    gc.collect()
    assert complaints == []
    assert bluez.calls("StartDiscovery") == bluez.calls("StopDiscovery") == 1
