"""The faults that are provoked, one at a time and in storms."""

from __future__ import annotations

import asyncio
import os
import random
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from benchmarks.radio_sim.bench import Bench, Place, bench
from benchmarks.radio_sim.service import Strap

Provoke = Callable[[Bench, Strap, random.Random], Awaitable[None]]


async def drop(b: Bench, sensor: Strap, _rng: random.Random) -> None:
    """The sensor breaks its link."""
    b.bluez.drop(sensor)


async def out_of_reach(b: Bench, sensor: Strap, rng: random.Random) -> None:
    """The sensor leaves for 5 to 12 s."""
    sensor.in_reach = False
    b.bluez.drop(sensor)
    await asyncio.sleep(rng.uniform(5, 12))
    sensor.in_reach = True


async def long_away(b: Bench, sensor: Strap, _rng: random.Random) -> None:
    """The sensor leaves for 35 s: the daemon has forgotten it."""
    sensor.in_reach = False
    b.bluez.drop(sensor)
    await asyncio.sleep(35)
    sensor.in_reach = True


async def leaves_while_connecting(b: Bench, sensor: Strap, rng: random.Random) -> None:
    """The sensor breaks its link, is seen, and leaves before it is linked."""
    sensor.connect_hangs = True
    b.bluez.drop(sensor)
    await asyncio.sleep(rng.uniform(2, 10))
    sensor.connect_hangs = False


async def forgotten(b: Bench, sensor: Strap, _rng: random.Random) -> None:
    """The daemon forgets a linked sensor without a word."""
    b.bluez.vanish(sensor)


async def unsubscribed(_b: Bench, sensor: Strap, _rng: random.Random) -> None:
    """The sensor forgets its subscription; a new one revives it."""
    sensor.muted, sensor.revived_by = True, "notify"


async def dead_link(_b: Bench, sensor: Strap, _rng: random.Random) -> None:
    """The link stands and is dead; a new one revives it."""
    sensor.muted, sensor.revived_by = True, "connect"


async def refused(b: Bench, sensor: Strap, rng: random.Random) -> None:
    """The sensor refuses its subscription for 3 to 8 s after a lost link."""
    sensor.refuses = "org.bluez.Error.NotPermitted"
    b.bluez.drop(sensor)
    await asyncio.sleep(rng.uniform(3, 8))
    sensor.refuses = ""


async def adapter_off(b: Bench, _sensor: Strap, rng: random.Random) -> None:
    """The adapter is switched off for 2 to 6 s."""
    b.bluez.power(False)
    await asyncio.sleep(rng.uniform(2, 6))
    b.bluez.power(True)


async def adapter_pulled(b: Bench, _sensor: Strap, rng: random.Random) -> None:
    """The adapter is pulled for 4 to 10 s."""
    b.bluez.unplug()
    await asyncio.sleep(rng.uniform(4, 10))
    b.bluez.plug()


async def adapter_pulled_for_a_minute(b: Bench, _sensor: Strap, _rng: random.Random) -> None:
    """The adapter is pulled for 60 s."""
    b.bluez.unplug()
    await asyncio.sleep(60)
    b.bluez.plug()


async def daemon_killed(b: Bench, _sensor: Strap, rng: random.Random) -> None:
    """``bluetoothd`` is killed and back after 1 to 4 s; the links end or stay."""
    b.bluez.kill(links=rng.random() < 0.5)
    await asyncio.sleep(rng.uniform(1, 4))
    b.bluez.start()


async def bus_killed(b: Bench, _sensor: Strap, rng: random.Random) -> None:
    """The message bus dies and is back after 1 to 4 s."""
    b.bluez.bus.kill()
    b.bluez.kill()
    await asyncio.sleep(rng.uniform(1, 4))
    b.bluez.bus.start()
    b.bluez.start()


async def stalled(b: Bench, _sensor: Strap, rng: random.Random) -> None:
    """Every notification is held up for 1 to 2.5 s and then comes at once."""
    b.bluez.stall()
    await asyncio.sleep(rng.uniform(1, 2.5))
    b.bluez.flow()


async def suspended(b: Bench, _sensor: Strap, rng: random.Random) -> None:
    """The computer sleeps: this process stands still for 5 s, and every link is gone after it."""
    b.bluez.power(False)
    time.sleep(5)  # noqa: ASYNC251 - that nothing runs is the fault
    await asyncio.sleep(rng.uniform(0.0, 1.0))
    b.bluez.power(True)


SINGLE: dict[str, tuple[Provoke, str]] = {
    "link dropped by the sensor": (drop, "one"),
    "out of reach, 5 to 12 s": (out_of_reach, "one"),
    "out of reach, 35 s": (long_away, "one"),
    "leaves while it is linked, 2 to 10 s": (leaves_while_connecting, "one"),
    "forgotten by the daemon": (forgotten, "one"),
    "subscription lost in the sensor": (unsubscribed, "one"),
    "link dead without a word": (dead_link, "one"),
    "subscription refused, 3 to 8 s": (refused, "one"),
    "adapter switched off, 2 to 6 s": (adapter_off, "all"),
    "adapter pulled, 4 to 10 s": (adapter_pulled, "all"),
    "adapter pulled, 60 s": (adapter_pulled_for_a_minute, "all"),
    "bluetoothd killed, 1 to 4 s": (daemon_killed, "all"),
    "message bus killed, 1 to 4 s": (bus_killed, "all"),
    "notifications held up, 1 to 2.5 s": (stalled, "all"),
    "computer suspended, 5 to 6 s": (suspended, "all"),
}
"""Each fault by its words in the table, and whom it strikes."""
IN_STORMS: tuple[Provoke, ...] = (
    drop, drop, out_of_reach, leaves_while_connecting, forgotten, unsubscribed, dead_link, refused,
    adapter_off, adapter_pulled, daemon_killed, bus_killed, stalled,
)  # fmt: skip
NOT_MOCKED = frozenset({"leaves while it is linked, 2 to 10 s", "adapter pulled, 60 s"})
"""The first needs attempts that stay pending, which the second service does not have."""
_FOR_ALL = frozenset({adapter_off, adapter_pulled, daemon_killed, bus_killed, stalled})


@dataclass
class Outcome:
    """One run.  ``recovery_s``: of each sensor that was struck, from the end of the fault to its
    next notification.  ``lost``: of ``sent`` over standing links; ``lost_at_once``: of them within
    2 s after it was back.  ``load``: of the machine, for each core.
    """

    fault: str
    recovery_s: list[float] = field(default_factory=list)
    sent: int = 0
    lost: int = 0
    lost_at_once: int = 0
    doubled: int = 0
    problem: str = ""
    mocked: bool = False
    load: float = 0.0

    def __post_init__(self) -> None:
        self.load = os.getloadavg()[0] / (os.cpu_count() or 1)


async def one_by_one(seed: int, faults: list[str], place: Place, count: int = 4) -> list[Outcome]:
    """Each of these faults once, in a session of ``count`` sensors."""
    rng = random.Random(seed)
    outcomes = []
    async with bench(count, seed=seed, place=place) as played:
        for fault in faults:
            await asyncio.sleep(1.5 + rng.random())
            before_s, doubled = time.monotonic(), played.ledger.doubled()
            provoke, struck = SINGLE[fault]
            victim = rng.randrange(count)
            await provoke(played, played.sensors[victim], rng)
            end_s = time.monotonic()
            outcome = Outcome(fault, mocked=place.mocked)
            whose = range(1, count + 1) if struck == "all" else (victim + 1,)
            try:
                await played.until_all_stream(fault, struck=whose, since_s=end_s)
            except RuntimeError as error:
                outcome.problem = str(error)
            await asyncio.sleep(2.5)
            for number in whose:
                back_s = played.ledger.first_after(number, end_s)
                if back_s is not None:
                    outcome.recovery_s.append(back_s - end_s)
            upto_s = time.monotonic() - 0.3
            outcome.sent, outcome.lost, outcome.lost_at_once = played.sent_and_lost(
                before_s, upto_s
            )
            outcome.doubled = played.ledger.doubled() - doubled
            outcomes.append(outcome)
            if outcome.problem:
                break
    return outcomes


async def storm(seed: int, count: int, place: Place, seconds: float = 20.0) -> Outcome:
    """Faults on top of each other for ``seconds``; then how long until all stream."""
    rng = random.Random(seed)
    outcome = Outcome(f"storm, {count} sensors, {place.words}", mocked=place.mocked)
    async with bench(count, seed=seed, place=place) as played:
        begin_s = time.monotonic()
        running: set[asyncio.Task[None]] = set()
        for_all: asyncio.Task[None] | None = None
        while time.monotonic() - begin_s < seconds:
            provoke = rng.choice(IN_STORMS)
            if provoke in _FOR_ALL:  # one adapter, one daemon: what is gone cannot go once more
                if for_all is not None and not for_all.done():
                    continue
                task = for_all = asyncio.create_task(provoke(played, played.sensors[0], rng))
            else:
                if for_all is not None and not for_all.done():
                    await asyncio.sleep(0.1)
                    continue
                victim = rng.choice(played.sensors)
                task = asyncio.create_task(provoke(played, victim, rng))
            running.add(task)
            await asyncio.sleep(rng.expovariate(count / 8))
        await asyncio.gather(*running)
        end_s = time.monotonic()
        try:
            everyone = range(1, count + 1)
            await played.until_all_stream("the storm", struck=everyone, since_s=end_s)
        except RuntimeError as error:
            outcome.problem = str(error)
        await asyncio.sleep(2.5)
        for number in range(1, count + 1):
            back_s = played.ledger.first_after(number, end_s)
            if back_s is not None:
                outcome.recovery_s.append(back_s - end_s)
        outcome.sent, outcome.lost, outcome.lost_at_once = played.sent_and_lost(
            end_s, time.monotonic() - 0.3
        )
        outcome.doubled = played.ledger.doubled()
    return outcome


async def linked(sensor: Strap) -> None:
    """Wait until this sensor is linked; the stand-in lives in another thread."""
    while not sensor.connected:  # noqa: ASYNC110
        await asyncio.sleep(0.02)


async def dropper(seed: int, others: int, seconds: float = 153.0) -> tuple[int, int]:
    """A sensor that breaks its link every 8 s and advertises at once, beside ``others`` that are
    away: notifications that arrived, and seconds (it sends one a second while it is linked).
    """
    async with bench(1 + others, seed=seed) as played:
        first = played.sensors[0]
        for sensor in played.sensors[1:]:
            sensor.in_reach = False
            played.bluez.drop(sensor)
        begin_s = time.monotonic()
        while time.monotonic() - begin_s < seconds:
            await asyncio.sleep(8)
            played.bluez.drop(first)
            await linked(first)
        arrived = [t for t, _ in played.ledger.arrived[1] if begin_s < t <= begin_s + seconds]
    return len(arrived), round(seconds)
