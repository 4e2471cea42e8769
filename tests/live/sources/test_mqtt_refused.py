"""Topics that a broker does not let be read: asked for again slowly, and nothing else is."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from dataclasses import replace

from live.sources.mqtt import MqttSource
from replay.link_state import LinkState
from tests.standins.mqtt_source import TOPICS, Heard, plan_for
from tests.standins.told_broker import (
    NOT_ALLOWED,
    ToldBroker,
    ToldTime,
    on_told_time,
    told_broker,
    until,
)

YARROW, BRACKEN, SORREL = 1, 2, 3


@contextlib.asynccontextmanager
async def listening(loop: ToldTime, broker: ToldBroker) -> AsyncIterator[tuple[MqttSource, Heard]]:
    """The source on the loop's own clock; Sorrel's readings are called old soon."""
    plan = plan_for(broker.port)
    plan = replace(plan, sensors=(*plan.sensors[:2], replace(plan.sensors[2], hold_s=1.0)))
    source, heard = MqttSource(plan), Heard()
    task = asyncio.create_task(source.run(loop, heard.emit))
    try:
        yield source, heard
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def seconds_until(loop: ToldTime, heard: Heard, sensor: int, state: LinkState) -> int:
    """After how many seconds a sensor's state becomes this one, however short."""
    before = len(heard.links(sensor))
    for second in range(1, 100):
        await loop.leap(1.0)
        if state.value in heard.links(sensor)[before:]:
            return second
    raise AssertionError(f"never {state}")


async def falls_quiet(loop: ToldTime, broker: ToldBroker, heard: Heard) -> int:
    """How many seconds after a reading Sorrel is called quiet."""
    broker.publish(TOPICS[1], b"142")
    await until(lambda: heard.is_now(SORREL, LinkState.STREAMING))
    return await seconds_until(loop, heard, SORREL, LinkState.QUIET)


def test_a_refused_topic_is_asked_for_again_every_half_minute():
    """It alone, while the others are heard on; when it is granted, it is waited for like them."""

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker:
            broker.denied = {TOPICS[0]}
            async with listening(loop, broker) as (_, heard):
                for count in (1, 2):
                    await until(lambda: heard.is_now(YARROW, LinkState.REFUSED))
                    assert await seconds_until(loop, heard, YARROW, LinkState.SEARCHING) == 30
                    await until(lambda n=count: len(broker.asked) == n + 1)
                broker.denied.clear()
                await until(lambda: heard.is_now(YARROW, LinkState.REFUSED))
                assert await seconds_until(loop, heard, YARROW, LinkState.SEARCHING) == 30
                await until(lambda: "Waiting for" in heard.advice(YARROW)[-1])
                for _ in range(31):
                    await loop.leap(1.0)
            assert broker.asked == [[*TOPICS], [TOPICS[0]], [TOPICS[0]], [TOPICS[0]]]
            assert heard.links(SORREL) == ["searching", "stopped"]

    on_told_time(check)


def test_a_refused_topic_is_asked_for_at_once_when_told():
    """By its own sensor's number or another's on the broker, within a second; the half minute then
    counts from there.  A sensor of another kind asks nothing of the broker.
    """

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker:
            broker.denied = {TOPICS[0]}
            async with listening(loop, broker) as (source, heard):
                for sensor, seconds in ((BRACKEN, 30), (YARROW, 1), (SORREL, 1), (BRACKEN, 30)):
                    asked = len(broker.asked)
                    await until(lambda: heard.is_now(YARROW, LinkState.REFUSED))
                    source.connect(sensor)
                    found = await seconds_until(loop, heard, YARROW, LinkState.SEARCHING)
                    assert found == seconds, sensor
                    await until(lambda n=asked: len(broker.asked) > n)

    on_told_time(check)


def test_where_nothing_is_refused_nothing_is_asked_again():
    """However long it lasts and whatever is told; that a topic falls quiet is seen all the while,
    in the first second in which it is more than 5 s old.
    """

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker, listening(loop, broker) as (source, heard):
            await until(heard.listening)
            assert await falls_quiet(loop, broker, heard) == 6
            source.connect(YARROW)
            for _ in range(31):
                await loop.leap(1.0)
            assert await falls_quiet(loop, broker, heard) == 6
            assert broker.asked == [[*TOPICS]]

    on_told_time(check)


def test_a_broker_that_refuses_all_is_asked_for_no_topic():
    """Its sentence stands until it is tried again; once let in, what falls quiet is seen."""

    async def check(loop: ToldTime) -> None:
        async with told_broker() as broker:
            broker.answer = NOT_ALLOWED
            async with listening(loop, broker) as (source, heard):
                await until(lambda: heard.is_now(YARROW, LinkState.REFUSED))
                for _ in range(35):
                    await loop.leap(1.0)
                await until(lambda: len(broker.connects) == 2)
                assert heard.links(YARROW) == ["searching", "refused"]
                assert broker.asked == []
                broker.answer = 0
                await until(lambda: source.connect(YARROW) or heard.listening())
                assert await falls_quiet(loop, broker, heard) == 6

    on_told_time(check)
