"""The Bluetooth source against every fault that sensors, adapters and daemons were seen to have."""

from __future__ import annotations

import asyncio
import os
from dataclasses import replace
from pathlib import Path

import pytest

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
    until_told,
)
from tests.standins.bluez_session import QUICK, Session


def test_a_dropped_link_is_made_again(bluez: BlueZ) -> None:
    """A sensor that breaks its link is lost, then streams again, each payload once."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        bluez.drop(sensor)
        await session.until_after(known, LinkState.STREAMING)
        assert session.states()[known : known + 3] == [
            LinkState.LOST,
            LinkState.SEARCHING,
            LinkState.CONNECTING,
        ]
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
    """A sensor that forgot its subscription is quiet, then streams, over the same link.

    The new subscription has 10 s to show that it helps: how soon it does is the machine's affair.
    """
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        sensor.revived_by = "notify"
        sensor.muted = True
        await session.until_after(known, LinkState.STREAMING)
        assert session.states()[known:] == [LinkState.QUIET, LinkState.STREAMING]
        assert sensor.connects == 1

    run(work, timing=replace(QUICK, renewed_share=20.0))


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
        assert bluez.daemon.scans_refused == 0, "nobody scans twice at once on one adapter"

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
        await session.until_state(LinkState.STREAMING)

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
            # Copies are told by a share of the sensor's own interval: it needs to have one.
            await asyncio.sleep(0.05)
        await session.until(lambda: len(session.of(1, DOUBLED)) == len(sent))
        assert session.of(1) == sent
        assert session.of(1, DOUBLED) == sent
        assert "another program" in session.advice()

    run(work)
