"""The notifications of one sensor: stamps, copies and silence, with a clock that the test moves."""

from __future__ import annotations

import asyncio
import inspect
import time
from dataclasses import replace

import pytest

from live.sources.bluetooth.notifications import Notifications
from live.sources.bluetooth.timing import Timing
from replay.event import CYCLING, DOUBLED, HEART_RATE, POWER
from replay.plan import PlannedSensor

STRAP = PlannedSensor(label="Yarrow", role="reference", address="C0:00:00:00:00:01")


class Bench:
    """Notifications with a clock of its own; ``emitted`` is what came out."""

    def __init__(self, sensor: PlannedSensor = STRAP, timing: Timing | None = None) -> None:
        self.t_ns = 0
        self.emitted: list[tuple[int, int, str, bytes]] = []
        self.told = 0
        self.notifications = Notifications(
            3,
            sensor,
            clock=self,
            emit=self._emit,
            timing=timing or Timing(),
            on_copies=self._tell,
        )

    def now_ns(self) -> int:
        return self.t_ns

    def _emit(self, t_ns: int, sensor: int, channel: str, payload: bytes) -> None:
        self.t_ns += 5_000_000  # whatever is done with an event takes time
        self.emitted.append((t_ns, sensor, channel, payload))

    def _tell(self) -> None:
        self.told += 1


def test_a_notification_is_stamped_before_anything_is_done_with_it() -> None:
    """The stamp is the clock at the call, not after the work; the callback is a plain one."""

    async def main() -> None:
        bench = Bench()
        bench.notifications.watch(HEART_RATE)
        receive = bench.notifications.receiver(HEART_RATE)
        assert not inspect.iscoroutinefunction(receive)
        for second in range(3):
            bench.t_ns = second * 1_000_000_000
            receive(None, bytearray(b"\x06\x48"))  # type: ignore[arg-type]
        assert bench.emitted == [
            (second * 1_000_000_000, 3, HEART_RATE, b"\x06\x48") for second in range(3)
        ]

    asyncio.run(main())


def test_an_emitted_payload_does_not_change_with_the_radios_buffer() -> None:
    """Bleak hands over a mutable buffer; what is kept is a copy of its own."""

    async def main() -> None:
        bench = Bench()
        buffer = bytearray(b"\x06\x48")
        bench.notifications.receiver(HEART_RATE)(None, buffer)  # type: ignore[arg-type]
        buffer[1] = 0
        assert bench.emitted[0][3] == b"\x06\x48"

    asyncio.run(main())


def test_copies_are_told_after_three_in_a_row() -> None:
    """One stray copy is only counted; three notifications in a row that double are told."""

    async def main() -> None:
        bench = Bench()
        receive = bench.notifications.receiver(HEART_RATE)
        told = []
        for second in range(4):
            bench.t_ns = second * 1_000_000_000
            for _ in range(2):
                receive(None, bytearray([6, 60 + second]))  # type: ignore[arg-type]
            told.append(bench.told)
        assert told == [0, 0, 1, 1]
        assert [channel for _, _, channel, _ in bench.emitted] == [HEART_RATE, DOUBLED] * 4

    asyncio.run(main())


def test_a_companion_is_silent_when_all_its_streams_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One of a companion's streams may rest while another goes on."""

    async def main() -> None:
        bench = Bench(replace(STRAP, role="companion"))
        loop = asyncio.get_running_loop()
        monkeypatch.setattr(loop, "time", lambda: bench.t_ns / 1e9)
        for channel in (CYCLING, POWER):
            bench.notifications.watch(channel)
            bench.notifications.subscribed(channel)
        assert not bench.notifications.silent(29.0)
        assert bench.notifications.silent(30.0)
        bench.t_ns = 25_000_000_000
        bench.notifications.receiver(POWER)(None, bytearray(4))  # type: ignore[arg-type]
        assert bench.notifications.heard
        assert not bench.notifications.silent(54.0)
        assert bench.notifications.silent(56.0)
        monkeypatch.undo()

    asyncio.run(main())


def test_a_sensor_planned_to_send_seldom_is_given_its_time() -> None:
    """A plan's wider age limit widens the silence that counts."""

    async def main() -> None:
        silent_after = {}
        for hold_s in (3.0, 12.0):
            bench = Bench(replace(STRAP, hold_s=hold_s))
            bench.notifications.watch(HEART_RATE)
            bench.notifications.subscribed(HEART_RATE)
            receive = bench.notifications.receiver(HEART_RATE)
            receive(None, bytearray(b"\x06\x48"))  # type: ignore[arg-type]
            bench.t_ns += 1_000_000_000
            receive(None, bytearray(b"\x06\x49"))  # type: ignore[arg-type]
            now_s = asyncio.get_running_loop().time()
            silent_after[hold_s] = [bench.notifications.silent(now_s + s) for s in (2, 4, 13)]
        assert silent_after == {3.0: [False, True, True], 12.0: [False, False, True]}

    asyncio.run(main())


def test_a_loop_that_stood_still_calls_nobody_silent() -> None:
    """A process was busy beyond the limit: only what it listened counts as silence."""

    async def main() -> None:
        bench = Bench(timing=Timing(silence_s=0.2, first_s=0.2))
        notifications = bench.notifications
        loop = asyncio.get_running_loop()
        notifications.watch(HEART_RATE)
        notifications.subscribing(HEART_RATE)
        loop.call_later(0.05, time.sleep, 0.5)
        await notifications.until_change()
        assert not notifications.silent(loop.time())
        async with asyncio.timeout(20):
            while not notifications.silent(loop.time()):
                await notifications.until_change()

    asyncio.run(main())
