"""The one loop that connects again: how long it waits, which version it speaks, what it tells."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator

import aiomqtt
import paho.mqtt.client as paho
import pytest

from live.sources.kept_client import KeptClient
from replay.broker import Broker
from replay.event import NS_PER_S
from replay.link_state import LinkState
from tests.standins.broker import free_port
from tests.standins.told_broker import (
    NEWEST,
    NOT_ALLOWED,
    OLDER,
    UNAVAILABLE,
    ToldTime,
    on_told_time,
    told_broker,
    until,
)

STEP_S = 1 / 16
"""How finely a pause is measured."""


class Clock:
    """The clock of a capture, as told."""

    t_ns = 0

    def now_ns(self) -> int:
        return self.t_ns


class Kept:
    """A kept client and its owner: ``attempts`` and ``joins`` so far, what was ``told``, and the
    number of the attempt that it was told of last (``ended``).
    """

    def __init__(self, port: int, *, will: bool = False) -> None:
        self.clock = Clock()
        self.attempts = self.ended = 0
        self.joins: list[aiomqtt.Client] = []
        self.told: list[tuple[LinkState, str]] = []
        self.client = KeptClient(
            Broker(host="127.0.0.1", port=port),
            self,
            will=(lambda: aiomqtt.Will("bench/gone", b"1")) if will else None,
            prepared=self._prepared,
        )

    def _prepared(self, _client: aiomqtt.Client) -> None:
        self.attempts += 1

    def hear(self, t_ns: int, message: aiomqtt.Message) -> None:
        raise AssertionError(f"nobody has published on {message.topic}, {t_ns}")

    async def joined(self, client: aiomqtt.Client) -> None:
        self.joins.append(client)

    def lost(self, state: LinkState, sentence: str) -> None:
        self.told.append((state, sentence))
        self.ended = self.attempts

    async def pauses_s(self, loop: ToldTime, count: int = 1) -> list[float]:
        """How long it waits after each of so many attempts, from when that ended to the next,
        rounded up to a step.
        """
        found = []
        for _ in range(count):
            await until(lambda: 0 < self.attempts == self.ended)
            ended, began_s = self.ended, loop.time()
            while self.attempts == ended:
                await loop.leap(STEP_S)
            found.append(loop.time() - began_s)
        return found

    async def times_out(self, loop: ToldTime) -> None:
        """Let an attempt end that the broker has not answered."""
        ended = self.ended
        while self.ended == ended:
            await asyncio.to_thread(time.sleep, 0.002)  # for whoever tries it in another thread
            await loop.leap(1.0)


@contextlib.asynccontextmanager
async def running(port: int, *, will: bool = False) -> AsyncIterator[Kept]:
    kept = Kept(port, will=will)
    task = asyncio.create_task(kept.client.run(kept.clock))
    try:
        yield kept
        # The played broker may not have taken a connection yet that is cut short.
        await until(lambda: kept.ended == kept.attempts or kept.client.client is not None)
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def are_pauses(measured: list[float], longest: list[float]) -> bool:
    """Each is as long as said or shorter by a fifth at most."""
    return len(measured) == len(longest) and all(
        0.8 * most <= one <= most + STEP_S for one, most in zip(measured, longest, strict=True)
    )


def test_a_broker_out_of_reach_is_tried_ever_more_slowly():
    """Half a second, doubled each time up to eight; each failed attempt is told."""

    async def check(loop: ToldTime) -> None:
        async with running(free_port()) as kept:
            measured = await kept.pauses_s(loop, 6)
            assert are_pauses(measured, [0.5, 1, 2, 4, 8, 8]), measured
            await until(lambda: kept.ended == 7)
            assert [state for state, _ in kept.told] == [LinkState.ADAPTER_OFF] * 7

    on_told_time(check)


def test_who_is_in_a_hurry_waits_for_no_pause():
    """The next attempt comes at once, and the one after that is waited for again."""

    async def check(loop: ToldTime) -> None:
        async with running(free_port()) as kept:
            for count in (1, 2, 3):
                await until(lambda n=count: len(kept.told) == n)
                await loop.leap(0)
                assert kept.attempts == count
                kept.client.hurry.set()

    on_told_time(check)


def test_a_refusal_is_waited_for_half_a_minute():
    """Asking often would look like an attack; once let in, the pauses are the short ones again."""

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker, running(broker.port) as kept:
            broker.answer = NOT_ALLOWED
            measured = await kept.pauses_s(loop, 2)
            assert are_pauses(measured, [30, 30]), measured
            await until(lambda: kept.ended == 3)
            assert {state for state, _ in kept.told} == {LinkState.REFUSED}
            broker.answer = UNAVAILABLE
            measured = await kept.pauses_s(loop, 2)
            assert are_pauses(measured, [30, 8]), measured

    on_told_time(check)


@pytest.mark.parametrize(("held_ns", "pause_s"), [(NS_PER_S, 2), (10 * NS_PER_S + 1, 0.5)])
def test_only_a_connection_that_held_makes_the_wait_short_again(held_ns: int, pause_s: float):
    """After more than ten seconds it was a good one; one that ends sooner counts as an attempt that
    came to nothing.
    """

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker, running(broker.port) as kept:
            broker.answer = UNAVAILABLE
            measured = await kept.pauses_s(loop)
            await until(lambda: kept.ended == 2)
            broker.answer = 0
            measured += await kept.pauses_s(loop)
            await until(lambda: kept.client.client is not None)
            kept.clock.t_ns += held_ns
            broker.drop()
            measured += await kept.pauses_s(loop)
            assert are_pauses(measured, [0.5, 1, pause_s]), measured

    on_told_time(check)


def test_a_connection_that_ends_changes_no_version():
    """A broker that has spoken the newest version is asked for it again."""

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker, running(broker.port) as kept:
            for _ in range(3):
                await until(lambda: kept.client.client is not None)
                broker.drop()
                await kept.pauses_s(loop)
            assert [one.version for one in broker.connects[:3]] == [NEWEST] * 3

    on_told_time(check)


def test_a_broker_of_the_older_version_is_joined_without_a_pause():
    """It refuses the newest in words of its own; that is no failure to be told."""

    async def check(_loop: ToldTime) -> None:
        async with told_broker() as broker:
            broker.is_old = True
            async with running(broker.port) as kept:
                await until(lambda: kept.client.client is not None)
                assert kept.told == []
            assert [one.version for one in broker.connects] == [NEWEST, OLDER]

    on_told_time(check)


def test_versions_are_tried_in_turn_where_nobody_answers():
    """An old broker may say nothing at all to the newest: each attempt speaks the other version."""

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker:
            broker.resets = True
            async with running(broker.port) as kept:
                for count in range(3):
                    if count:
                        kept.client.hurry.set()
                        await loop.leap(0)
                    await kept.times_out(loop)
            assert [one.version for one in broker.connects[:3]] == [NEWEST, OLDER, NEWEST]

    on_told_time(check)


def test_what_was_let_in_once_is_waited_for():
    """A port that resets connections may be none of MQTT; if it has been, it will be again."""

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker:
            broker.resets = True
            async with running(broker.port) as kept:
                await kept.times_out(loop)
                assert kept.told[-1][0] is LinkState.REFUSED
                broker.resets = False
                kept.client.hurry.set()
                await until(lambda: kept.client.client is not None)
                broker.resets = True
                broker.drop()
                await until(lambda: kept.ended == 2)
                kept.client.hurry.set()
                await loop.leap(0)
                await kept.times_out(loop)
                assert kept.told[-1][0] is LinkState.ADAPTER_OFF
                assert "behind a relay" in kept.told[-1][1]

    on_told_time(check)


@pytest.mark.parametrize("will", [False, True])
def test_a_last_will_goes_with_the_connection(will: bool):
    """Flag and topic of a will stand in CONNECT where there is one (MQTT 5, 3.1.2.5)."""

    async def check(_loop: ToldTime) -> None:
        async with told_broker() as broker, running(broker.port, will=will) as kept:
            await until(lambda: kept.client.client is not None)
            (connect,) = broker.connects
            assert bool(connect.body[7] & 0b100) is will
            assert (b"bench/gone" in connect.body) is will

    on_told_time(check)


def test_an_error_while_writing_ends_the_connection(monkeypatch: pytest.MonkeyPatch):
    """A connection that cannot be written to any more is told as lost, and made again."""

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker, running(broker.port) as kept:
            await until(lambda: kept.client.client is not None)
            with monkeypatch.context() as patch:

                def fail(_client: paho.Client) -> None:
                    raise OSError("no room")

                patch.setattr(paho.Client, "loop_write", fail)
                assert kept.client.client is not None
                writing = asyncio.ensure_future(kept.client.client.publish("bench/hr", b"1"))
                await until(lambda: kept.told)
            writing.cancel()
            await asyncio.gather(writing, return_exceptions=True)
            await kept.pauses_s(loop)
            await until(lambda: kept.client.client is not None)
            assert len(kept.joins) == 2

    on_told_time(check)
