"""Never another sensor under a planned label, with real bleak against a played BlueZ."""

from __future__ import annotations

from dataclasses import replace

from replay.event import ADDRESS, SERIAL
from replay.link_state import LinkState
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401
from tests.standins.bluez_faults import (  # noqa: F401
    SORREL,
    YARROW,
    more_arrive,
    no_unexpected_fault,
    run,
    until_told,
)
from tests.standins.bluez_session import QUICK, Session, plan_of, planned

BY_NAME = plan_of(planned("Yarrow", name="Bench strap"))
FACTS = {"2a19": b"\x57", "2a24": b"Bench strap", "2a26": b"1.4.2"}
MINE, OTHERS = 161, 61


def strap(bluez: BlueZ, address: str, bpm: int, serial: bytes = b"") -> Sensor:
    """A namesake that sends a bpm of its own."""
    facts = {**FACTS, "2a25": serial} if serial else dict(FACTS)
    return bluez.add(
        Sensor(
            address,
            "Bench strap",
            rate_hz=20,
            facts=facts,
            script=lambda n: heart_rate(bpm + n % 2, n),
        )
    )


def test_a_namesake_does_not_step_in_for_a_sensor_that_is_away(bluez: BlueZ) -> None:
    """However long the first is away, nothing of the other one is recorded under its label."""
    mine = strap(bluez, YARROW, MINE)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        twin = strap(bluez, SORREL, OTHERS)
        mine.in_reach = False
        bluez.drop(mine)
        await until_told(session, "connect again")
        assert SORREL in session.advice()
        await session.until(lambda: bluez.calls("StartDiscovery") >= 6, "some scans later")
        assert twin.connects == 0
        mine.in_reach = True
        await session.until_state(LinkState.STREAMING)
        await more_arrive(session)
        assert {payload[1] for payload in session.of(1)} <= {MINE, MINE + 1}
        assert set(session.of(1, ADDRESS)) == {YARROW.encode()}

    run(work, BY_NAME)


def test_a_sensor_with_a_new_address_is_known_by_its_serial_number(bluez: BlueZ) -> None:
    """The same serial number under a new address is the same sensor, and recorded as such."""
    before = strap(bluez, YARROW, MINE, b"0417")

    async def work(session: Session) -> None:
        await session.until(lambda: session.of(1, SERIAL))
        before.in_reach = False
        bluez.drop(before)
        await session.until_state(LinkState.SEARCHING)
        strap(bluez, SORREL, MINE, b"0417")
        await session.until_state(LinkState.STREAMING)
        assert session.of(1, ADDRESS) == [YARROW.encode(), SORREL.encode()]
        assert "several" not in session.advice()
        assert "same sensor" in session.advice()

    run(work, BY_NAME)


def test_a_namesake_with_another_serial_number_is_left_alone(bluez: BlueZ) -> None:
    """It is asked once and let go before anything is subscribed."""
    mine = strap(bluez, YARROW, MINE, b"0417")

    async def work(session: Session) -> None:
        await session.until(lambda: session.of(1, SERIAL))
        mine.in_reach = False
        bluez.drop(mine)
        await session.until_state(LinkState.SEARCHING)
        other = strap(bluez, SORREL, OTHERS, b"0999")
        await until_told(session, "another one")
        await session.until(lambda: not other.connected)
        mine.in_reach = True
        await session.until_state(LinkState.STREAMING)
        assert other.connects == 1
        assert other.sent == 0
        assert {payload[1] for payload in session.of(1)} <= {MINE, MINE + 1}

    run(work, BY_NAME)


def test_a_planned_address_that_changed_is_suggested_and_taken_when_confirmed(
    bluez: BlueZ,
) -> None:
    """The sensor's name is in sight elsewhere: the tester is told where, and decides."""
    sensor = strap(bluez, SORREL, MINE)
    row = replace(planned("Yarrow", YARROW), name="Bench strap")

    async def work(session: Session) -> None:
        await until_told(session, SORREL)
        assert sensor.connects == 0
        session.source.connect(1)
        await session.until_state(LinkState.STREAMING)
        assert session.of(1, ADDRESS) == [SORREL.encode()]

    run(work, plan_of(row))


def test_what_a_sensor_says_of_itself_is_read_once(bluez: BlueZ) -> None:
    """Over three links model and firmware are told once; the serial number is checked each time."""
    mine = strap(bluez, YARROW, MINE, b"0417")

    async def work(session: Session) -> None:
        await session.until(lambda: session.of(1, SERIAL))
        for _ in range(2):
            known = len(session.states())
            bluez.drop(mine)
            await session.until_after(known, LinkState.STREAMING)
            await more_arrive(session)
        assert [len(session.of(1, channel)) for channel in ("2a24", "2a25", "2a26")] == [1, 1, 1]
        assert bluez.calls("ReadValue") == 4 + 2

    run(work, BY_NAME, QUICK)
