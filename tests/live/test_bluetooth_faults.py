"""The Bluetooth source against every fault that sensors, adapters and daemons were seen to have."""

from __future__ import annotations

import asyncio
import logging
import os
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from live.sources.bluetooth import Timing
from replay.event import DOUBLED
from replay.link import LinkState
from replay.plan import Plan
from tests.standins.bluez import BlueZ, Sensor, bluez_fixture, heart_rate  # noqa: F401
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


def test_a_dropped_link_is_made_again(bluez: BlueZ) -> None:
    """A sensor that breaks its link is lost, then streams again, each payload once."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        bluez.drop(sensor)
        await session.until_after(known, LinkState.STREAMING)
        assert session.states()[known : known + 2] == [LinkState.LOST, LinkState.CONNECTING]
        await more_arrive(session)
        assert session.of(1, DOUBLED) == []

    run(work)


def test_ten_lost_links_leak_no_sockets_and_no_copies(bluez: BlueZ) -> None:
    """After ten reconnections as many files are open as after the first, and nothing doubles."""
    sensor = strap(bluez)

    def open_files() -> int:
        return len(os.listdir("/proc/self/fd"))  # noqa: PTH208 - the entries are not paths to use

    async def again(session: Session) -> None:
        known = len(session.states())
        bluez.drop(sensor)
        await session.until_after(known, LinkState.STREAMING)
        await more_arrive(session)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        await again(session)
        first = open_files()
        for _ in range(10):
            await again(session)
            assert len(sensor.subscribers["2a37"]) == 1
        assert open_files() == first
        assert session.of(1, DOUBLED) == []

    run(work)


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs /proc")
def test_the_stand_in_doubles_after_a_reconnection_without_disconnect(bluez: BlueZ) -> None:
    """The stand-in copies the daemon's habit: each client left behind adds one copy."""
    from bleak import BleakClient, BleakScanner

    from tests.standins.bluez_session import release_bus

    sensor = bluez.add(Sensor(YARROW, "Yarrow"))

    async def work() -> None:
        device = await BleakScanner.find_device_by_address(YARROW)
        assert device is not None
        clients: list[BleakClient] = []
        for copies in (1, 2, 3):
            gone = asyncio.Event()
            client = BleakClient(device, lambda _client, gone=gone: gone.set())
            await client.connect()
            await client.start_notify("2a37", lambda _c, _d: None)
            clients.append(client)
            assert bluez.notify(sensor, heart_rate(100)) == copies
            bluez.drop(sensor)
            await gone.wait()
        for client in clients:
            await client.disconnect()
        await release_bus()

    asyncio.run(work())


def test_silence_is_cured_by_renewing_the_subscription(bluez: BlueZ) -> None:
    """A sensor that forgot its subscription is quiet, then streams, over the same link."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        sensor.revived_by = "notify"
        sensor.muted = True
        await session.until_after(known, LinkState.STREAMING)
        assert session.states()[known:] == [LinkState.QUIET, LinkState.STREAMING]
        assert sensor.connects == 1

    run(work)


def test_silence_that_lasts_is_answered_with_a_new_link(bluez: BlueZ) -> None:
    """Where renewing does not help, the link is ended and made again."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        sensor.revived_by = ""
        sensor.muted = True
        await session.until(lambda: sensor.connects == 2, "a second connection")
        sensor.muted = False
        await session.until_after(known, LinkState.STREAMING)
        assert session.states()[known : known + 2] == [LinkState.QUIET, LinkState.LOST]

    run(work)


def test_a_vanished_sensor_is_found_again(bluez: BlueZ) -> None:
    """When the daemon forgets a linked sensor nobody is told; silence leads to a new search."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        bluez.vanish(sensor)
        await session.until_after(known, LinkState.STREAMING)
        assert LinkState.SEARCHING in session.states()[known:]

    run(work)


def test_the_adapter_may_be_switched_off_and_on(bluez: BlueZ) -> None:
    """Off is a state with advice for all sensors; on again, all stream again."""
    strap(bluez)
    bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))

    async def work(session: Session) -> None:
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)
        bluez.power(False)
        for number in (1, 2):
            await session.until_state(LinkState.ADAPTER_OFF, number)
            await until_told(session, "switched off", number)
        known = [len(session.states(number)) for number in (1, 2)]
        bluez.power(True)
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)
            assert session.states(number)[known[number - 1]] is LinkState.SEARCHING

    run(work, PAIR)


def test_a_missing_adapter_is_one_state_until_it_is_there(bluez: BlueZ) -> None:
    """While the adapter is off the state stays, however often it is looked for."""
    bluez.power(False)
    strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.ADAPTER_OFF)
        tries = bluez.calls("GetManagedObjects")
        bluez.kill()  # also when what is missing changes meanwhile
        bluez.daemon.powered = True
        bluez.start(adapter=False)
        await session.until(lambda: "GetManagedObjects" in str(bluez.daemon.calls), str(tries))
        bluez.plug()
        await session.until_state(LinkState.STREAMING)
        assert session.states().count(LinkState.ADAPTER_OFF) == 1

    run(work)


def test_a_pulled_adapter_is_noticed_by_silence(bluez: BlueZ) -> None:
    """Pulling the adapter tells nobody; the stream's silence does, and plugging it in heals."""
    strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        bluez.unplug()
        await session.until_state(LinkState.ADAPTER_OFF)
        await until_told(session, "no Bluetooth adapter")
        bluez.plug()
        await session.until_state(LinkState.STREAMING)
        await more_arrive(session)

    run(work)


@pytest.mark.parametrize("links", [False, True], ids=["links end", "links stay"])
def test_the_bluetooth_daemon_may_be_killed_and_restarted(bluez: BlueZ, links: bool) -> None:
    """Killing bluetoothd tells nobody and is_connected stays; silence finds it, restart heals."""
    strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        bluez.kill(links=links)
        await session.until_state(LinkState.ADAPTER_OFF)
        await until_told(session, "does not run")
        known = len(session.states())
        bluez.start()
        await session.until_state(LinkState.STREAMING)
        await more_arrive(session)
        assert session.of(1, DOUBLED) == []
        # bleak goes on listing the old daemon's links: one try at such a link, not a row of them.
        assert session.states()[known:].count(LinkState.LOST) <= 1

    run(work)


def test_the_bus_daemon_may_be_killed_and_restarted(bluez: BlueZ) -> None:
    """When dbus-daemon dies every socket breaks; after its return the sensor streams again."""
    strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        bluez.bus.kill()
        bluez.kill()
        await session.until_state(LinkState.ADAPTER_OFF)
        await until_told(session, "system bus")
        bluez.bus.start()
        bluez.start()
        await session.until_state(LinkState.STREAMING)
        await more_arrive(session)

    run(work)


@pytest.mark.parametrize(
    "refusal",
    [
        "org.bluez.Error.NotPermitted",
        "org.bluez.Error.NotAuthorized",
        "org.bluez.Error.NotSupported",
        "org.bluez.Error.Failed",
    ],
)
def test_a_refused_subscription_is_told_and_tried_again(bluez: BlueZ, refusal: str) -> None:
    """A sensor that refuses is in a state of its own, with advice, until it gives in."""
    sensor = strap(bluez, refuses=refusal)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.REFUSED)
        await session.until(lambda: "refuses to send" in session.advice())
        sensor.refuses = ""
        await session.until_state(LinkState.STREAMING)

    run(work)


def test_malformed_payloads_pass_unchanged(bluez: BlueZ) -> None:
    """Empty, short and overlong payloads are kept as they came; the stream goes on."""
    sensor = bluez.add(Sensor(YARROW, "Yarrow"))
    sent = [b"", b"\x00", b"\x01\x48", b"\x10\x48\x01", bytes(512), heart_rate(72, 850)]

    async def work(session: Session) -> None:
        await session.until(lambda: bluez.is_subscribed(sensor))
        for payload in sent:
            bluez.notify(sensor, payload)
        await session.until(lambda: len(session.of(1)) == len(sent))
        assert session.of(1) == sent
        assert session.state() is LinkState.STREAMING

    run(work)


def test_copies_for_another_program_are_dropped_and_counted(bluez: BlueZ) -> None:
    """With another subscriber each payload comes twice: one is kept, one recorded as a copy."""
    sensor = bluez.add(Sensor(YARROW, "Yarrow"))
    bluez.subscribe_elsewhere(sensor)
    sent = [heart_rate(100 + n) for n in range(8)]

    async def work(session: Session) -> None:
        await session.until(lambda: len(sensor.subscribers["2a37"]) == 2)
        for payload in sent:
            assert bluez.notify(sensor, payload) == 2
        await session.until(lambda: len(session.of(1, DOUBLED)) == len(sent))
        assert session.of(1) == sent
        assert session.of(1, DOUBLED) == sent
        assert "another program" in session.advice()

    # A wide window, so that a busy test machine cannot pull the two copies apart.
    run(work, timing=replace(QUICK, doubled_s=5.0))


def test_twins_by_name_are_not_guessed(bluez: BlueZ) -> None:
    """Of two sensors with the planned name neither is taken; the advice lists both addresses."""
    bluez.add(Sensor(YARROW, "Bench strap"))
    twin = bluez.add(Sensor(SORREL, "Bench strap"))

    async def work(session: Session) -> None:
        await session.until(lambda: SORREL in session.advice() and YARROW in session.advice())
        assert session.state() is LinkState.SEARCHING
        twin.in_reach = False
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

    run(work, PAIR, replace(QUICK, connect_s=0.3))


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


def test_a_full_adapter_is_named(bluez: BlueZ) -> None:
    """A sensor that vanishes on connect raises the question whether the adapter is full."""
    strap(bluez)
    bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))
    bluez.daemon.links_possible = 1

    async def work(session: Session) -> None:
        await session.until(lambda: "full" in session.advice(1) + session.advice(2))
        bluez.daemon.links_possible = 2
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)

    run(work, PAIR)


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
        assert session.state(2) is LinkState.STREAMING

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
