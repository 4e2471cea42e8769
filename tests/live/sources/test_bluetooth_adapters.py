"""Several adapters, full ones and pulled ones, with real bleak against a played BlueZ."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from live.sources.bluetooth import list_adapters
from replay.link_state import LinkState
from replay.plan import Plan
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture  # noqa: F401
from tests.standins.bluez_faults import PAIR, SORREL, no_unexpected_fault, run, strap  # noqa: F401
from tests.standins.bluez_session import QUICK, Session, plan_of, planned, release_bus

BOTH = ("hci0", "hci1")
HANGING = replace(QUICK, link_s=0.3, crowded_s=0.3)


def bench(bluez: BlueZ, count: int, **more: object) -> Plan:
    """So many sensors at 10 Hz, in reach, and their plan."""
    for n in range(count):
        bluez.add(Sensor(f"C0:00:00:00:00:1{n}", f"S{n}", rate_hz=10, **more))  # type: ignore[arg-type]
    return plan_of(
        *(
            planned(s.name, s.address, role="test" if n else "reference")
            for n, s in enumerate(bluez.daemon.sensors)
        )
    )


def streaming(session: Session, count: int) -> int:
    """How many of the sensors stream."""
    return sum(session.state(n) is LinkState.STREAMING for n in range(1, count + 1))


def told(session: Session, count: int) -> str:
    """All that the tester was told."""
    return "\n".join(session.advice(n) for n in range(1, count + 1))


@pytest.mark.parametrize("when_full", ["error", "hangs", "vanishes"])
def test_a_full_adapter_is_told_and_filled_up_again(bluez: BlueZ, when_full: str) -> None:
    """Eight sensors on five links: who is left learns why; when one goes, one of them comes."""
    bluez.daemon.links_possible, bluez.daemon.when_full = 5, when_full
    plan = bench(bluez, 8)

    async def work(session: Session) -> None:
        await session.until(lambda: streaming(session, 8) == 5, "five stream")
        await session.until(lambda: "full with 5 links" in told(session, 8), "full")
        assert "not to be seen" not in told(session, 8)
        waiting = [n for n in range(1, 9) if session.state(n) is not LinkState.STREAMING]
        assert len(waiting) == 3
        gone = next(n for n in range(1, 9) if n not in waiting)
        bluez.daemon.sensors[gone - 1].in_reach = False
        bluez.drop(bluez.daemon.sensors[gone - 1])
        await session.until(lambda: streaming(session, 8) == 5, "five again")
        bluez.daemon.links_possible = 8
        bluez.daemon.sensors[gone - 1].in_reach = True
        await session.until(lambda: streaming(session, 8) == 8, "all, where there is room")
        for number in range(1, 9):  # once each, however often it was tried
            assert session.advice(number).count("full") <= 1

    run(work, plan, HANGING)


def test_sensors_that_fail_one_by_one_are_not_a_full_adapter(bluez: BlueZ) -> None:
    """Two that cannot be linked beside two that are: nobody is told of a full adapter."""
    plan = bench(bluez, 4)
    for sensor in bluez.daemon.sensors[2:]:
        sensor.connect_hangs = True

    async def work(session: Session) -> None:
        await session.until(lambda: streaming(session, 4) == 2, "two stream")
        await session.until(lambda: bluez.calls("Connect") >= 10, "ten attempts")
        assert "full" not in told(session, 4)

    run(work, plan, HANGING)


def test_sensors_are_spread_over_the_adapters(bluez: BlueZ) -> None:
    """Two adapters with four links each hold eight sensors, four each, without a word."""
    bluez.daemon.adapters = list(BOTH)
    bluez.kill()
    bluez.start()
    bluez.daemon.links_possible = 4
    plan = bench(bluez, 8, heard_by=BOTH)

    async def work(session: Session) -> None:
        await session.until(lambda: streaming(session, 8) == 8, "all stream")
        held = [sensor.adapter for sensor in bluez.daemon.sensors]
        assert (held.count("hci0"), held.count("hci1")) == (4, 4)
        assert "full" not in told(session, 8)
        assert bluez.daemon.connects_while_scanning == 0

    run(work, plan)


@pytest.mark.parametrize("fault", ["off", "pulled", "killed"])
def test_sensors_are_spread_again_after_all_adapters_were_gone(bluez: BlueZ, fault: str) -> None:
    """Whichever adapter is back first, it is not given all sensors, and nobody waits for a list."""
    bluez.daemon.adapters = list(BOTH)
    bluez.kill()
    bluez.start()
    bluez.daemon.links_possible = 4
    plan = bench(bluez, 8, heard_by=BOTH)

    async def work(session: Session) -> None:
        await session.until(lambda: streaming(session, 8) == 8, "all stream")
        match fault:
            case "off":
                bluez.power(False)
            case "pulled":
                bluez.unplug()
            case "killed":
                bluez.kill()
        await session.until(
            lambda: all(session.state(n) is LinkState.ADAPTER_OFF for n in range(1, 9)), "gone"
        )
        match fault:
            case "off":
                bluez.power(True)
            case "pulled":
                bluez.plug()
            case "killed":
                bluez.start()
        await session.until(lambda: streaming(session, 8) == 8, "all stream again")
        held = [sensor.adapter for sensor in bluez.daemon.sensors]
        assert (held.count("hci0"), held.count("hci1")) == (4, 4)
        assert "full" not in told(session, 8)

    run(work, plan, replace(QUICK, adapters_s=1000.0))


def test_who_waits_at_an_adapter_that_fills_up_goes_to_another(bluez: BlueZ) -> None:
    """All are heard by one adapter first; when it holds no more, the rest use the other one."""
    bluez.daemon.adapters = list(BOTH)
    bluez.kill()
    bluez.start()
    bluez.daemon.links_possible, bluez.daemon.when_full = 2, "error"
    bluez.daemon.connect_s = 0.2
    plan = bench(bluez, 4)

    async def work(session: Session) -> None:
        await session.until(lambda: streaming(session, 4) == 1, "the first one")
        for sensor in bluez.daemon.sensors:
            sensor.heard_by = BOTH
        await session.until(lambda: streaming(session, 4) == 4, "all stream")
        assert sorted(sensor.adapter for sensor in bluez.daemon.sensors) == [
            *["hci0"] * 2,
            *["hci1"] * 2,
        ]
        assert bluez.calls("Connect") == 5, "one was told that the adapter is full"

    run(work, plan, replace(QUICK, full_s=1000.0, full_most_s=1000.0))


def test_a_planned_adapter_is_used_and_missed(bluez: BlueZ) -> None:
    """``adapter`` in the plan binds a sensor to it; where it is not there, that is told."""
    bluez.daemon.adapters = list(BOTH)
    bluez.kill()
    bluez.start()
    sensors = [strap(bluez, heard_by=BOTH), bluez.add(Sensor(SORREL, "Sorrel", heard_by=BOTH))]
    sensors[1].rate_hz = 10
    first, second = PAIR.sensors
    plan = plan_of(replace(first, adapter="hci1"), replace(second, adapter="hci7"))

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING, 1)
        assert sensors[0].adapter == "hci1"
        await session.until(lambda: "no Bluetooth adapter hci7" in session.advice(2))
        assert session.state(2) is LinkState.ADAPTER_OFF
        assert session.state(1) is LinkState.STREAMING

    run(work, plan)


def test_adapters_are_listed(bluez: BlueZ) -> None:
    """Name, address and whether it can be used; none where there is no daemon."""

    async def listed() -> list[tuple[str, bool]]:
        try:
            return [(one.name, one.is_usable) for one in await list_adapters()]
        finally:
            await release_bus()

    bluez.daemon.adapters = list(BOTH)
    bluez.kill()
    bluez.start()
    assert asyncio.run(listed()) == [("hci0", True), ("hci1", True)]
    bluez.power(False)
    assert asyncio.run(listed()) == [("hci0", False), ("hci1", False)]
    bluez.kill()
    assert asyncio.run(listed()) == []
