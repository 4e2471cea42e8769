"""Back on sight: what makes a lost sensor wait, and what must not, with real bleak.

The played daemon forgets sensors, ends links slowly and keeps attempts pending, as the real one
does.  Times are short; that no second is lost on waiting is told by counts of attempts and by the
order of what happens, not by a clock.
"""

from __future__ import annotations

import time
from dataclasses import replace

from live.sources.bluetooth import Timing
from replay.event import DOUBLED
from replay.link_state import LinkState
from replay.plan import Plan
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

PATIENT = replace(QUICK, retry_s=1000.0, retry_most_s=1000.0, full_s=1000.0, full_most_s=1000.0)
"""Any pause after a failure would outlast the test."""


def crowd(bluez: BlueZ, count: int) -> Plan:
    """So many sensors at 20 Hz, and their plan."""
    added = [bluez.add(Sensor(f"C0:00:00:00:00:1{n}", f"S{n}", rate_hz=20)) for n in range(count)]
    return plan_of(
        *(
            planned(s.name, s.address, role="test" if n else "reference")
            for n, s in enumerate(added)
        )
    )


def all_stream(session: Session, count: int) -> bool:
    """Whether so many sensors stream."""
    return all(session.state(n) is LinkState.STREAMING for n in range(1, count + 1))


def test_a_sensor_that_drops_again_and_again_is_back_on_sight(bluez: BlueZ) -> None:
    """Twenty lost links in a row: no pause grows, however short each stream was."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        for _ in range(20):
            known = len(session.states())
            bluez.drop(sensor)
            await session.until_after(known, LinkState.STREAMING)
        assert sensor.connects == 21
        assert bluez.calls("Connect") == 21

    run(work, timing=PATIENT)


def test_a_sensor_that_is_away_is_not_tried_and_makes_nobody_wait(bluez: BlueZ) -> None:
    """Only who was seen is connected to; another sensor's link is made beside the search."""
    away = bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))
    here = strap(bluez)

    async def work(session: Session) -> None:
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)
        away.in_reach = False
        bluez.drop(away)
        tried = bluez.calls("Connect")
        for _ in range(3):
            known = len(session.states(1))
            bluez.drop(here)
            await session.until_after(known, LinkState.STREAMING, 1)
        assert bluez.calls("Connect") == tried + 3
        away.in_reach = True
        await session.until_state(LinkState.STREAMING, 2)

    run(work, PAIR, PATIENT)


def test_an_attempt_that_hangs_gives_way_to_one_that_waits(bluez: BlueZ) -> None:
    """Alone an attempt may take its time; as soon as another sensor is lost, it is cut short."""
    hanging = strap(bluez)
    other = bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))
    timing = replace(QUICK, link_s=1000.0, connect_s=1000.0, crowded_s=0.3)

    async def work(session: Session) -> None:
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)
        hanging.connect_hangs = True
        bluez.drop(hanging)
        await session.until_state(LinkState.CONNECTING, 1)
        known = len(session.states(2))
        bluez.drop(other)
        await session.until_after(known, LinkState.STREAMING, 2)
        hanging.connect_hangs = False
        await session.until_state(LinkState.STREAMING, 1)

    run(work, PAIR, timing)


def test_waiting_for_a_turn_is_not_connecting(bluez: BlueZ) -> None:
    """While one sensor is being linked, the next one's state says that it waits."""
    for sensor in (strap(bluez), bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))):
        sensor.connect_hangs = True

    async def work(session: Session) -> None:
        await session.until(
            lambda: (
                {session.state(1), session.state(2)} == {LinkState.CONNECTING, LinkState.QUEUED}
            ),
            "one connects, one waits",
        )

    run(work, PAIR, replace(QUICK, crowded_s=2.0))


def test_the_next_link_is_made_while_services_are_listed(bluez: BlueZ) -> None:
    """Only the link itself is made one after another: six links stand before one sensor is asked
    for anything, where its list of services takes a while.
    """
    bluez.daemon.connect_s, bluez.daemon.resolve_s = 0.02, 1.0
    plan = crowd(bluez, 6)

    async def work(session: Session) -> None:
        await session.until(lambda: all_stream(session, 6), "all stream")
        called = [member for member, _ in bluez.daemon.calls]
        assert "StartNotify" not in called[: len(called) - called[::-1].index("Connect")]
        assert called.count("Connect") == 6
        assert bluez.daemon.linking.refused_at_once == 0

    run(work, plan)


def test_a_long_queue_is_not_scanned_for_again(bluez: BlueZ) -> None:
    """Who was seen and waits for a turn is linked without being looked for once more."""
    bluez.daemon.connect_s = 0.3
    plan = crowd(bluez, 5)

    async def work(session: Session) -> None:
        await session.until(lambda: all_stream(session, 5), "all stream")
        scans = bluez.calls("StartDiscovery")
        bluez.power(False)
        bluez.power(True)
        await session.until(lambda: bluez.calls("Connect") == 10, "all are linked anew")
        await session.until(lambda: all_stream(session, 5), "all stream again")
        assert bluez.calls("StartDiscovery") <= scans + 2

    run(work, plan, replace(QUICK, fresh_s=0.4))


def test_a_pending_attempt_is_made_good_when_the_sensor_advertises_again(bluez: BlueZ) -> None:
    """Seen, gone before it was linked, and back within the attempt: one attempt is enough."""
    sensor = strap(bluez)
    bluez.daemon.connect_s = 0.1

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        sensor.connect_hangs = True
        bluez.drop(sensor)
        await session.until(lambda: bluez.calls("Connect") == 2, "an attempt")
        sensor.connect_hangs = False
        await session.until(lambda: sensor.connects == 2, "linked")
        await more_arrive(session)
        assert bluez.calls("Connect") == 2

    run(work, timing=replace(PATIENT, link_s=60.0, connect_s=60.0))


def test_a_forgotten_sensor_is_searched_without_a_second_pause(bluez: BlueZ) -> None:
    """Away until the daemon has forgotten it: when it is back, nothing but the sighting is due."""
    sensor = strap(bluez)
    bluez.daemon.forget_s = 0.2

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        sensor.in_reach = False
        bluez.drop(sensor)
        await session.until(lambda: sensor.path not in bluez.daemon.objects, "forgotten")
        sensor.in_reach = True
        await session.until_state(LinkState.STREAMING)
        assert bluez.calls("Connect") == 2

    run(work, timing=PATIENT)


def test_a_slow_disconnect_of_one_sensor_does_not_hold_up_another(bluez: BlueZ) -> None:
    """The daemon takes its time to end a dead link; a dropped sensor is linked meanwhile."""
    dead = bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))
    sensor = strap(bluez)
    bluez.daemon.disconnect_s = 2.0

    async def work(session: Session) -> None:
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)
        dead.muted, dead.revived_by = True, "connect"
        await session.until(lambda: bluez.calls("Disconnect") == 1, "ending the dead link")
        known = len(session.states(1))
        bluez.drop(sensor)
        await session.until_after(known, LinkState.STREAMING, 1)
        assert dead.connects == 1  # its old link is still being ended
        await session.until_state(LinkState.STREAMING, 2)
        bluez.daemon.disconnect_s = 0.0

    run(work, PAIR)


def test_equal_payloads_after_a_stall_are_all_kept(bluez: BlueZ) -> None:
    """A radio that stood still delivers everything at once: nothing of it is a copy."""
    sensor = bluez.add(
        Sensor(YARROW, "Yarrow", rate_hz=20, phase_s=0.0, script=lambda _n: heart_rate(72))
    )

    async def work(session: Session) -> None:
        await more_arrive(session, 12)
        before = sensor.sent
        bluez.stall()
        await session.until(lambda: sensor.sent >= before + 6, "six are held up")
        bluez.flow()
        held = sensor.sent
        await session.until(lambda: len(session.of(1)) >= held, "all have come")
        assert session.of(1, DOUBLED) == []

    run(work, timing=replace(QUICK, silence_s=5.0, silence_most_s=5.0))


def test_a_computer_that_slept_goes_on_by_itself(bluez: BlueZ) -> None:
    """Nothing ran for a while, the adapter was off meanwhile, every link is gone: all come back."""
    bluez.add(Sensor(SORREL, "Sorrel", rate_hz=20))
    strap(bluez)

    async def work(session: Session) -> None:
        for number in (1, 2):
            await session.until_state(LinkState.STREAMING, number)
        known = [len(session.states(number)) for number in (1, 2)]
        bluez.power(False)
        time.sleep(1.0)  # noqa: ASYNC251 - this process stands still, as in a suspended computer
        bluez.power(True)
        for number in (1, 2):
            await session.until_after(known[number - 1], LinkState.STREAMING, number)
            await more_arrive(session, 3, number)

    run(work, PAIR)


def test_links_that_died_in_the_sleep_without_a_word_are_found(bluez: BlueZ) -> None:
    """The daemon believes in links that are dead after the sleep: silence tells them."""
    sensor = strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        known = len(session.states())
        sensor.muted, sensor.revived_by = True, "connect"
        time.sleep(1.0)  # noqa: ASYNC251
        await session.until_after(known, LinkState.STREAMING)
        assert sensor.connects == 2

    run(work)


def test_an_adapter_that_is_gone_for_long_costs_no_pause_afterwards(bluez: BlueZ) -> None:
    """However often it was looked for in vain, its return is noticed at the next look."""
    strap(bluez)

    async def work(session: Session) -> None:
        await session.until_state(LinkState.STREAMING)
        bluez.unplug()
        await session.until_state(LinkState.ADAPTER_OFF)
        looked = bluez.calls("GetManagedObjects")
        await session.until(
            lambda: bluez.calls("GetManagedObjects") >= looked + 20, "twenty looks in vain"
        )
        bluez.plug()
        await session.until_state(LinkState.STREAMING)
        assert session.states().count(LinkState.ADAPTER_OFF) == 1

    run(work, timing=replace(PATIENT, adapter_poll_s=0.05))


def test_a_scan_that_a_restarted_daemon_has_forgotten_is_begun_anew(bluez: BlueZ) -> None:
    """The daemon was restarted in the middle of a search: nobody tells, and nobody is heard."""
    sensor = strap(bluez, in_reach=False)

    async def work(session: Session) -> None:
        await session.until(lambda: bluez.calls("StartDiscovery") == 1, "a scan")
        bluez.kill()
        bluez.start()
        sensor.in_reach = True
        await session.until_state(LinkState.STREAMING)

    run(work, timing=replace(PATIENT, scan_s=1000.0, deaf_s=0.3))


def test_a_scan_that_begins_too_late_does_not_block_the_next_ones(bluez: BlueZ) -> None:
    """A slow daemon has begun to scan when nobody waits any more: that scan is ended as well."""
    strap(bluez)
    bluez.daemon.discovery_s = 0.6

    async def work(session: Session) -> None:
        await session.until(lambda: "does not answer" in session.advice(), "a scan too late")
        bluez.daemon.discovery_s = 0.0
        await session.until_state(LinkState.STREAMING)

    run(work, timing=replace(QUICK, call_s=0.3))


def test_the_default_times_bound_every_recovery() -> None:
    """Real times add up to less than the promised 8 s, and 10 s after a sleep, whatever happens.

    A dead link: silence, a renewed subscription, the daemon's 2.5 s to end a link, a glance, a
    link of a second, and the next beat of a sensor of 1 Hz.  A hanging attempt that began just
    before the fault ended, and the longest pause behind it.
    """
    times, link_s, beat_s, end_s = Timing(), 0.5, 1.0, 2.5
    sighting_s = times.gather_s + 0.5
    silence_s = times.silence_s * (1 + times.renewed_share)
    assert silence_s + end_s + sighting_s + link_s + beat_s <= 10.0
    pause_s = 1.2 * times.retry_most_s
    assert times.link_s + pause_s + sighting_s + link_s + beat_s <= 9.0
    assert 1.2 * times.refused_most_s + sighting_s + link_s + beat_s <= 8.0
    assert times.adapter_poll_s + sighting_s + link_s + beat_s <= 8.0
    assert times.crowded_s <= 3.0
