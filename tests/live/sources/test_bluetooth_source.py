"""The Bluetooth source against real bleak and a played BlueZ: when all goes well."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from replay.event import BATTERY, BODY_LOCATION, DOUBLED, FIRMWARE, MODEL, SIGNAL
from replay.link_state import LinkState
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401
from tests.standins.bluez_session import QUICK, Session, plan_of, planned

YARROW = "C0:00:00:00:00:01"
SORREL = "C0:00:00:00:00:02"


def test_two_sensors_stream_raw_payloads_in_order(bluez: BlueZ) -> None:
    """Every payload arrives once, unchanged and in order, under its sensor's number."""
    strap = bluez.add(Sensor(YARROW, "Yarrow"))
    wrist = bluez.add(Sensor(SORREL, "Sorrel"))
    plan = plan_of(planned("Yarrow", YARROW), planned("Sorrel", SORREL, role="test"))

    async def work() -> None:
        async with Session(plan) as session:
            await session.until(lambda: bluez.is_subscribed(strap) and bluez.is_subscribed(wrist))
            sent = [heart_rate(100 + n, 1000 + n) for n in range(20)]
            for payload in sent:
                assert bluez.notify(strap, payload) == 1
                assert bluez.notify(wrist, payload[:2]) == 1
            await session.until(lambda: len(session.of(2)) == 20)
            assert session.of(1) == sent
            assert session.of(2) == [payload[:2] for payload in sent]
            times = [event.t_ns for event in session.events]
            assert times == sorted(times)
        assert bluez.daemon.connects_while_scanning == 0

    asyncio.run(work())


def test_a_link_goes_through_its_states_and_tells_its_facts(bluez: BlueZ) -> None:
    """From waiting to streaming and stopped, with firmware, battery, place, model and signal."""
    strap = bluez.add(Sensor(YARROW, "Yarrow", rate_hz=20))

    async def work() -> None:
        async with Session(plan_of(planned("Yarrow", YARROW))) as session:
            await session.until(lambda: session.of(1, MODEL) and session.of(1))
            await session.until_state(LinkState.STREAMING)
            await session.stop()
            assert session.states() == [
                LinkState.WAITING,
                LinkState.SEARCHING,
                LinkState.CONNECTING,
                LinkState.PREPARING,
                LinkState.STREAMING,
                LinkState.STOPPED,
            ]
            assert session.of(1, FIRMWARE) == [b"1.4.2"]
            assert session.of(1, BATTERY) == [b"\x57"]
            assert session.of(1, BODY_LOCATION) == [b"\x01"]
            assert int.from_bytes(session.of(1, SIGNAL)[0], signed=True) in (-58, -57)
            assert not session.advice()
        assert not strap.connected

    asyncio.run(work())


def test_twenty_fast_sensors_arrive_complete(bluez: BlueZ) -> None:
    """Twenty sensors at 20 Hz each: nothing is lost, doubled or out of order."""
    sensors = [
        bluez.add(Sensor(f"C0:00:00:00:01:{n:02X}", f"S{n}", script=_numbered)) for n in range(20)
    ]
    plan = plan_of(
        *(planned(s.name, s.address, role="test" if n else "reference")
          for n, s in enumerate(sensors))
    )  # fmt: skip

    async def work() -> None:
        # They send nothing before all of them are linked, however long that takes.
        async with Session(plan, replace(QUICK, first_s=20.0)) as session:
            await session.until(lambda: all(map(bluez.is_subscribed, sensors)))
            for sensor in sensors:
                sensor.rate_hz = 20
            await session.until(lambda: all(sensor.sent >= 40 for sensor in sensors))
            for sensor in sensors:
                sensor.rate_hz = 0
            for number, sensor in enumerate(sensors, 1):
                await session.until(lambda n=number, s=sensor: len(session.of(n)) >= s.sent)
                assert session.of(number) == [_numbered(n) for n in range(sensor.sent)]
                assert session.of(number, DOUBLED) == []
        assert bluez.daemon.connects_while_scanning == 0

    asyncio.run(work())


def _numbered(n: int) -> bytes:
    """A payload whose RR tells its place in the stream."""
    return heart_rate(60 + n % 100, n % 65536)
