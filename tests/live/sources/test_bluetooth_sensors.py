"""The Bluetooth source and sensors that are out of the ordinary; stopping and hurrying."""

from __future__ import annotations

from dataclasses import replace

from replay.event import DOUBLED
from replay.link_state import LinkState
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401
from tests.standins.bluez_faults import (  # noqa: F401
    PAIR,
    SORREL,
    YARROW,
    more_arrive,
    no_unexpected_fault,
    run,
    strap,
)
from tests.standins.bluez_session import QUICK, Session, plan_of, planned


def test_twins_by_name_are_not_guessed(bluez: BlueZ) -> None:
    """Of two sensors with the planned name neither is taken, nor the one that is left later: the
    advice names them, and the tester says so.
    """
    bluez.add(Sensor(YARROW, "Bench strap"))
    twin = bluez.add(Sensor(SORREL, "Bench strap"))

    async def work(session: Session) -> None:
        await session.until(lambda: SORREL in session.advice() and YARROW in session.advice())
        assert session.state() is LinkState.SEARCHING
        twin.in_reach = False
        await session.until(lambda: "only the one" in session.advice())
        assert YARROW in session.advice()
        assert (session.state(), bluez.calls("Connect")) == (LinkState.SEARCHING, 0)
        session.source.connect(1)
        await session.until_state(LinkState.PREPARING)
        assert bluez.calls("Connect") == 1

    run(work, plan_of(planned("Yarrow", name="Bench strap")))


def test_twins_are_told_apart_by_address(bluez: BlueZ) -> None:
    """An address picks its sensor among namesakes, and a name then means the other one."""
    first = bluez.add(Sensor(YARROW, "Bench strap", rate_hz=20))
    bluez.add(Sensor(SORREL, "Bench strap", rate_hz=20, script=lambda n: heart_rate(61 + n % 2)))
    first.script = lambda n: heart_rate(161 + n % 2)
    plan = plan_of(planned("Yarrow", YARROW), planned("Sorrel", role="test", name="Bench strap"))

    async def work(session: Session) -> None:
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)
            await more_arrive(session, 3, number)
        assert {payload[1] for payload in session.of(1)} <= {161, 162}
        assert {payload[1] for payload in session.of(2)} <= {61, 62}

    run(work, plan)


def test_services_that_are_resolved_too_early_are_asked_again(bluez: BlueZ) -> None:
    """If the heart-rate characteristic is missing at first, a new link finds it."""
    sensor = strap(bluez, late_services=1)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        assert sensor.connects == 2
        assert LinkState.LOST in session.states()

    run(work)


def test_a_sensor_without_heart_rate_is_told(bluez: BlueZ) -> None:
    """A sensor that never offers a heart rate is refused, with advice."""
    bluez.add(Sensor(YARROW, "Yarrow", streams=("2a5b",)))

    async def work(session: Session) -> None:
        await session.until_state(LinkState.REFUSED)
        assert "offers no heart rate" in session.advice()

    run(work)


def test_a_connect_that_hangs_does_not_hold_up_the_others(bluez: BlueZ) -> None:
    """A sensor that never answers is given up after its time; another one streams meanwhile."""
    hanging = strap(bluez, connect_hangs=True)
    bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))

    async def work(session: Session) -> None:
        await session.until_after(0, LinkState.LOST, 1)
        await session.until_state(LinkState.STREAMING, 2)
        hanging.connect_hangs = False
        await session.until_state(LinkState.STREAMING, 1)

    run(work, PAIR, replace(QUICK, link_s=0.3, crowded_s=0.3))


def test_a_sensor_left_connected_is_taken_over(bluez: BlueZ) -> None:
    """A sensor that a killed program left connected is invisible to scans, and yet found."""
    sensor = strap(bluez)
    bluez.connect_elsewhere(sensor)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        assert sensor.connects == 1
        await session.stop()
        assert not sensor.connected

    run(work)


def test_a_sensor_that_is_not_there_is_asked_for_and_found_later(bluez: BlueZ) -> None:
    """A sensor switched on late is searched without end, with one advice, and then streams."""
    sensor = strap(bluez, in_reach=False)

    async def work(session: Session) -> None:
        await session.until(lambda: "not to be seen" in session.advice())
        assert session.state() is LinkState.SEARCHING
        sensor.in_reach = True
        await session.until_state(LinkState.STREAMING)
        assert session.advice().count("not to be seen") == 1

    run(work)


def test_a_scan_gives_way_to_a_lost_sensor(bluez: BlueZ) -> None:
    """While one sensor is searched without end, another that lost its link does not wait."""
    sensor = strap(bluez)
    bluez.add(Sensor(SORREL, "Sorrel", in_reach=False))

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        bluez.drop(sensor)
        await session.until_after(known, LinkState.STREAMING)
        assert bluez.daemon.connects_while_scanning == 0

    run(work, PAIR, replace(QUICK, scan_s=1000.0))


def test_a_sensor_that_advertises_no_services_is_found(bluez: BlueZ) -> None:
    """Every third scan is unfiltered, for sensors that keep their services to themselves."""
    strap(bluez, unadvertised=True)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)

    run(work)


def test_a_companion_streams_all_its_measures(bluez: BlueZ) -> None:
    """Cadence and power of a companion arrive under their own channels."""
    sensor = bluez.add(Sensor(SORREL, "Bike", streams=("2a5b", "2a63")))
    plan = plan_of(planned("Yarrow", YARROW), planned("Bike", SORREL, role="companion"))

    async def work(session: Session) -> None:
        for channel in ("2a5b", "2a63"):
            await session.until(lambda c=channel: bluez.is_subscribed(sensor, c))
            bluez.notify(sensor, b"\x02\x01\x00\x00\x04", channel)
        await session.until(lambda: session.of(2, "2a5b") and session.of(2, "2a63"))
        await session.until_state(LinkState.STREAMING, 2)

    run(work, plan)


def test_an_indoor_bike_is_a_companion(bluez: BlueZ) -> None:
    """A trainer that offers Indoor Bike Data alone is found, subscribed to and heard."""
    sensor = bluez.add(Sensor(SORREL, "Bike", streams=("2ad2",)))
    plan = plan_of(planned("Yarrow", YARROW), planned("Bike", SORREL, role="companion"))
    payload = bytes.fromhex("4400c409b400c800")

    async def work(session: Session) -> None:
        await session.until(lambda: bluez.is_subscribed(sensor, "2ad2"))
        bluez.notify(sensor, payload, "2ad2")
        await session.until(lambda: session.of(2, "2ad2"))
        assert session.of(2, "2ad2") == [payload]
        await session.until_state(LinkState.STREAMING, 2)

    run(work, plan)


def test_a_notified_battery_is_read_once_and_followed(bluez: BlueZ) -> None:
    """The battery is read before it is subscribed, so that its reading is not told twice."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until(lambda: bluez.is_subscribed(sensor, "2a19"))
        bluez.notify(sensor, b"\x56", "2a19")
        await session.until(lambda: len(session.of(1, "2a19")) == 2)
        assert session.of(1, "2a19") == [b"\x57", b"\x56"]
        assert session.of(1, DOUBLED) == []

    run(work)


def test_stopping_ends_all_links_at_once(bluez: BlueZ) -> None:
    """Cancelled, the source ends all links side by side, says so and leaves none connected."""
    bluez.daemon.disconnect_s = 0.5
    addresses = [f"C0:00:00:00:00:1{n}" for n in range(5)]
    sensors = [bluez.add(Sensor(a, f"S{n}", rate_hz=10)) for n, a in enumerate(addresses)]
    plan = plan_of(
        *(planned(f"S{n}", a, role="test" if n else "reference") for n, a in enumerate(addresses))
    )

    async def work(session: Session) -> None:
        for number in range(1, 6):
            await session.until_state(LinkState.STREAMING, number)
        await session.stop()
        assert all(session.state(number) is LinkState.STOPPED for number in range(1, 6))
        assert not any(sensor.connected for sensor in sensors)
        endings = [m for m, _ in bluez.daemon.calls if m in {"Disconnect", "link down"}]
        assert endings == ["Disconnect"] * 5 + ["link down"] * 5

    run(work, plan)


def test_stopping_while_a_connect_hangs_is_bounded(bluez: BlueZ) -> None:
    """Cancelling in the middle of a connect ends it and reports the sensor as stopped."""
    strap(bluez, connect_hangs=True)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.CONNECTING)
        await session.until(lambda: bluez.calls("Connect") == 1)
        await session.stop()
        assert session.state() is LinkState.STOPPED

    run(work, timing=replace(QUICK, connect_s=30.0))


def test_connect_now_ends_a_pause(bluez: BlueZ) -> None:
    """The tester's wish to connect now ends a pause of any length."""
    sensor = strap(bluez, refuses="org.bluez.Error.NotPermitted")

    async def work(session: Session) -> None:
        await session.until_state(LinkState.REFUSED)
        sensor.refuses = ""
        await session.until(lambda: not sensor.connected)
        session.source.connect(1)
        session.source.connect(7)  # not ours: ignored
        await session.until_state(LinkState.STREAMING)

    run(work, timing=replace(QUICK, refused_s=1000, refused_most_s=1000))
