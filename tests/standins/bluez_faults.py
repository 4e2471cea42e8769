"""One strap and what a test of the Bluetooth source does with it, again and again."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Iterator

import pytest

from live.sources.bluetooth import Timing
from replay.plan import Plan
from tests.standins.bluez import BlueZ, Sensor
from tests.standins.bluez_session import QUICK, Session, plan_of, planned

YARROW = "C0:00:00:00:00:01"
SORREL = "C0:00:00:00:00:02"
PLAN = plan_of(planned("Yarrow", YARROW))
PAIR = plan_of(planned("Yarrow", YARROW), planned("Sorrel", SORREL, role="test"))


@pytest.fixture(autouse=True)
def no_unexpected_fault(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Every fault here is one that the source knows: none may reach its last resort."""
    yield
    for when in ("setup", "call"):
        assert [r for r in caplog.get_records(when) if r.levelno >= logging.ERROR] == []


def run(
    work: Callable[[Session], Awaitable[None]], plan: Plan = PLAN, timing: Timing = QUICK
) -> None:
    """Run ``work`` beside a source that serves the plan."""

    async def main() -> None:
        async with Session(plan, timing) as session:
            await work(session)

    asyncio.run(main())


def strap(bluez: BlueZ, **more: object) -> Sensor:
    """A strap that sends 20 times a second, each payload another."""
    return bluez.add(Sensor(YARROW, "Yarrow", rate_hz=20, **more))  # type: ignore[arg-type]


async def until_told(session: Session, words: str, sensor: int = 1) -> None:
    """Wait until the tester was told something that holds these words."""
    await session.until(lambda: words in session.advice(sensor), words)


async def more_arrive(session: Session, count: int = 3, sensor: int = 1) -> None:
    """Wait until so many more heart-rate payloads came from a sensor."""
    before = len(session.of(sensor))
    await session.until(
        lambda: len(session.of(sensor)) >= before + count, f"payloads of sensor {sensor}"
    )
