"""The Bluetooth source over a service that was not written beside it: python-dbusmock's.

Another object tree, another D-Bus library, other timing; see ``tests/standins/mocked_bluez.py``.
"""

from __future__ import annotations

import asyncio
import os
import random
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest
from bleak import BleakClient, BleakScanner
from bleak.exc import BleakError

from replay.event import DOUBLED
from replay.link_state import LinkState
from tests.standins.bluez_faults import no_unexpected_fault  # noqa: F401
from tests.standins.bluez_session import Session, plan_of, planned, release_bus
from tests.standins.mocked_bluez import MockedBlueZ, mocking_python
from tests.standins.mocked_sensor import MockedSensor
from tests.standins.private_bus import PrivateBus

ADDRESSES = ("C0:00:00:00:00:31", "C0:00:00:00:00:32", "C0:00:00:00:00:33")
PLAN = plan_of(
    *(planned(f"S{n}", a, role="test" if n else "reference") for n, a in enumerate(ADDRESSES))
)


@pytest.fixture(name="service")
def service_fixture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[MockedBlueZ]:
    """The service with an adapter and three sensors at 10 Hz, on a private bus."""
    if not PrivateBus.is_possible() or not mocking_python():
        pytest.skip("dbus-daemon or python3-dbusmock is not installed")
    service = MockedBlueZ(tmp_path)
    monkeypatch.setitem(os.environ, "DBUS_SYSTEM_BUS_ADDRESS", service.bus.address)
    service.open()
    for number, address in enumerate(ADDRESSES):
        service.add(MockedSensor(address, f"S{number}", rate_hz=10, phase_s=number / 30))
    try:
        yield service
    finally:
        service.close()


def run(work: Callable[[Session], Awaitable[None]]) -> None:
    """Run ``work`` beside a source that serves the plan, once all stream."""

    async def main() -> None:
        async with Session(PLAN) as session:
            await all_stream(session, "at the start")
            await work(session)
            for number in (1, 2, 3):
                assert session.of(number, DOUBLED) == []

    asyncio.run(main())


async def all_stream(session: Session, why: str) -> None:
    """Wait until each sensor is streaming and has sent five times more."""
    counts = [len(session.of(number)) for number in (1, 2, 3)]
    await session.until(
        lambda: all(
            session.state(n) is LinkState.STREAMING and len(session.of(n)) >= counts[n - 1] + 5
            for n in (1, 2, 3)
        ),
        why,
    )


def test_bleak_finds_links_hears_and_ends(service: MockedBlueZ) -> None:
    """The service answers all that bleak asks: the tests below rest on that."""
    sensor = service.sensors[0]

    async def main() -> None:
        device = await BleakScanner.find_device_by_address(sensor.address)
        assert device is not None
        gone = asyncio.Event()
        client = BleakClient(device, lambda _client: gone.set())
        heard: list[bytes] = []
        async with asyncio.timeout(20):
            for attempt in range(3):  # on a busy machine the service may refuse one, as any does
                try:
                    await client.connect()
                    await client.start_notify("2a37", lambda _c, data: heard.append(bytes(data)))
                    break
                except BleakError:
                    if attempt == 2:
                        raise
                    await client.disconnect()
            gone.clear()
            while len(heard) < 5:  # noqa: ASYNC110
                await asyncio.sleep(0.02)
            assert heard[:5] == [sensor.script(n) for n in range(5)]
            service.drop(sensor)
            await gone.wait()
        assert not client.is_connected
        await client.disconnect()
        await release_bus()

    asyncio.run(main())


@pytest.mark.timeout(120)
def test_a_sensor_comes_back_from_each_of_its_faults(service: MockedBlueZ) -> None:
    """One sensor's fault is seen, and ends with it; the other two stream on over their links."""
    sensor = service.sensors[0]

    async def work(session: Session) -> None:
        for fault in ("drop", "vanish", "silence", "dead link", "no link", "refusal"):
            await comes_back_from(fault, session)

    async def comes_back_from(fault: str, session: Session) -> None:
        links = [one.connects for one in service.sensors]
        known = len(session.states())
        match fault:
            case "drop":
                service.drop(sensor)
            case "vanish":
                service.vanish(sensor)
            case "silence":
                sensor.muted, sensor.revived_by = True, "notify"
            case "dead link":
                sensor.muted, sensor.revived_by = True, "connect"
            case "no link":
                sensor.connect_hangs = True
                service.drop(sensor)
                await session.until_after(known, LinkState.CONNECTING)
                sensor.connect_hangs = False
            case "refusal":
                sensor.refuses = "refused"
                service.drop(sensor)
                await session.until_after(known, LinkState.REFUSED)
                sensor.refuses = ""
        await session.until(lambda: len(session.states()) > known, f"{fault} is seen")
        await all_stream(session, fault)
        assert [one.connects for one in service.sensors[1:]] == links[1:], fault
        if fault != "refusal":  # which is asked again until it gives in
            assert sensor.connects == links[0] + (fault != "silence"), fault

    run(work)


def strike(service: MockedBlueZ, fault: str) -> Callable[[], None]:
    """Provoke a fault of all; returns what ends it."""
    match fault:
        case "off":
            service.power(False)
            return lambda: service.power(True)
        case "pulled":
            service.unplug()
            return service.plug
        case "killed":
            service.kill()
            return service.start
        case _:
            service.bus.kill()
            service.kill()
            return lambda: (service.bus.start(), service.start())[1]


@pytest.mark.timeout(120)
def test_all_sensors_come_back_from_each_fault_of_all(service: MockedBlueZ) -> None:
    """The adapter, the service or the bus goes and comes: all stream again."""

    async def work(session: Session) -> None:
        for fault in ("off", "pulled", "killed", "bus"):
            end = strike(service, fault)
            await session.until(
                lambda: all(session.state(n) is LinkState.ADAPTER_OFF for n in (1, 2, 3)),
                f"gone: {fault}",
            )
            end()
            await all_stream(session, fault)

    run(work)


@pytest.mark.timeout(180)
def test_after_faults_on_top_of_each_other_all_stream_again(service: MockedBlueZ) -> None:
    """Twelve faults in three bursts: each time all come back, once each."""
    rng = random.Random(7)

    async def work(session: Session) -> None:
        for burst in range(3):
            kinds = [
                rng.choice(["drop", "vanish", "mute", "off", "pulled", "killed"]) for _ in "four"
            ]
            for kind in kinds:
                sensor = rng.choice(service.sensors)
                if kind == "drop":
                    service.drop(sensor)
                elif kind == "vanish":
                    service.vanish(sensor)
                elif kind == "mute":
                    sensor.muted, sensor.revived_by = True, rng.choice(["notify", "connect"])
                else:
                    end = strike(service, kind)
                    await asyncio.sleep(rng.uniform(0.0, 0.6))
                    end()
                await asyncio.sleep(rng.uniform(0.0, 0.6))
            await all_stream(session, f"burst {burst}: {kinds}")

    run(work)
