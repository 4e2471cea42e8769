"""The Bluetooth source under faults that come in any order, on top of each other."""

from __future__ import annotations

import asyncio
import os
import random
from pathlib import Path

import pytest

from replay.event import DOUBLED
from replay.link_state import LinkState
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401
from tests.standins.bluez_session import Session, plan_of, planned

ADDRESSES = [f"C0:00:00:00:00:2{n}" for n in range(3)]
SEEDS = [int(seed) for seed in os.environ.get("SIDEBEAT_STORM_SEEDS", "1 2").split()]
ROUNDS = int(os.environ.get("SIDEBEAT_STORM_ROUNDS", "5"))


def open_files() -> int:
    """Files and sockets that this process holds."""
    return len(list(Path("/proc/self/fd").iterdir()))


async def fault(bluez: BlueZ, sensors: list[Sensor], rng: random.Random) -> str:
    """Provoke one fault, and end it again where it would not end by itself."""
    sensor = rng.choice(sensors)

    async def moment() -> None:
        await asyncio.sleep(rng.uniform(0.0, 0.8))

    kind = rng.choice(["drop", "vanish", "mute", "off", "pull", "daemon", "bus", "refuse", "hang"])
    match kind:
        case "drop":
            bluez.drop(sensor)
        case "vanish":
            bluez.vanish(sensor)
        case "mute":
            sensor.muted, sensor.revived_by = True, rng.choice(["notify", "connect"])
        case "off":
            bluez.power(False)
            await moment()
            bluez.power(True)
        case "pull":
            bluez.unplug()
            await moment()
            bluez.plug()
        case "daemon":
            bluez.kill(links=rng.random() < 0.5)
            await moment()
            bluez.start()
        case "bus":
            bluez.bus.kill()
            bluez.kill()
            await moment()
            bluez.bus.start()
            bluez.start()
        case "refuse":
            sensor.refuses = "org.bluez.Error.NotPermitted"
            bluez.drop(sensor)
            await moment()
            sensor.refuses = ""
        case "hang":
            sensor.connect_hangs = True
            bluez.drop(sensor)
            await moment()
            sensor.connect_hangs = False
    return kind


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs /proc")
@pytest.mark.timeout(240)
@pytest.mark.parametrize("seed", SEEDS)
def test_after_any_sequence_of_faults_all_sensors_stream_again(
    bluez: BlueZ, seed: int, caplog: pytest.LogCaptureFixture
) -> None:
    """Random faults, alone and together: each time all come back, once each, leaking nothing."""
    rng = random.Random(seed)
    sensors = [
        bluez.add(Sensor(a, f"S{n}", rate_hz=20, script=lambda n: heart_rate(60 + n % 100, n)))
        for n, a in enumerate(ADDRESSES)
    ]
    plan = plan_of(
        *(planned(f"S{n}", a, role="test" if n else "reference") for n, a in enumerate(ADDRESSES))
    )

    async def all_stream(session: Session, why: str) -> None:
        counts = [len(session.of(number)) for number in (1, 2, 3)]

        def ok() -> bool:
            return all(
                session.state(number) is LinkState.STREAMING
                and len(session.of(number)) >= counts[number - 1] + 5
                and len(sensors[number - 1].subscribers["2a37"]) == 1
                for number in (1, 2, 3)
            )

        await session.until(ok, why)

    async def main() -> None:
        async with Session(plan) as session:
            await all_stream(session, "start")
            files = open_files()
            for _ in range(ROUNDS):
                happened = [
                    await fault(bluez, sensors, rng) for _ in range(rng.choice([1, 1, 2, 3]))
                ]
                await all_stream(session, " ".join(happened))
            assert open_files() <= files
            for number in (1, 2, 3):
                assert session.of(number, DOUBLED) == []
        assert bluez.daemon.connects_while_scanning == 0
        assert bluez.daemon.scans_refused == 0
        assert bluez.daemon.linking.refused_at_once == 0

    asyncio.run(main())
    assert [record for record in caplog.records if record.levelname == "ERROR"] == []
