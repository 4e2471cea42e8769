"""The MQTT source against a real mosquitto on loopback: topics, stored values, cuts."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest

from live.sources import mqtt_topic
from live.sources.mqtt import MqttSource
from replay.link_state import LinkState
from tests.standins.broker import Broker
from tests.standins.mqtt_source import (
    TOPICS,
    broker_fixture,  # noqa: F401
    on_selector_loop,
    plan_for,
    published,
    running,
)


def test_each_topic_is_its_sensor_and_payloads_stay_raw(broker: Broker) -> None:
    """Text, raw measurements and malformed payloads arrive as they were sent, in order."""

    async def check() -> None:
        with broker.publisher() as publisher:
            async with running(MqttSource(plan_for(broker.port))) as heard:
                await heard.until(heard.listening)
                sent = [b"142", b"\x16\x8e\x00\x04", b"", b"not a number", b"\xff" * 20, b" 142.5 "]
                for payload in sent:
                    await published(publisher, TOPICS[0], payload)
                await published(publisher, TOPICS[1], b"99")
                await published(publisher, "bench/elsewhere", b"1")
                await heard.until(lambda: heard.payloads(3))
            assert heard.payloads(1) == sent
            assert heard.payloads(3) == [b"99"]
            assert heard.links(1) == heard.links(3) == ["searching", "streaming", "stopped"]
            assert heard.links(2) == []
            stamps = [event.t_ns for event in heard.events]
            assert stamps == sorted(stamps)

    on_selector_loop(check())


def test_a_burst_arrives_complete_and_in_order(broker: Broker) -> None:
    """Of bursts of 500 messages without a pause none is lost, doubled or out of order."""
    sent = [b"%d" % number for number in range(2_000)]

    async def check() -> None:
        with broker.publisher() as publisher:
            async with running(MqttSource(plan_for(broker.port))) as heard:
                await heard.until(heard.listening)
                # No more at once than the 1,000 that mosquitto holds for a slow reader.
                for start in range(0, len(sent), 500):
                    for payload in sent[start : start + 500]:
                        publisher.shout(TOPICS[0], payload)
                    await heard.until(lambda n=start: len(heard.payloads(1)) >= n + 500)
            assert heard.payloads(1) == sent

    on_selector_loop(check())


def test_a_stored_value_is_left_out_and_counted(broker: Broker) -> None:
    """A retained reading has no known age: the tester is told, and it is no reading."""

    async def check() -> None:
        with broker.publisher() as publisher:
            await published(publisher, TOPICS[0], b"61", retain=True)
            async with running(MqttSource(plan_for(broker.port))) as heard:
                await heard.until(lambda: any("stored" in words for words in heard.advice(1)))
                await heard.until(lambda: "Waiting for" in "".join(heard.advice(3)))
                assert heard.payloads(1) == []
                assert heard.links(1) == ["searching"]
                assert "1 left out so far" in heard.advice(1)[-1]
                await published(publisher, TOPICS[0], b"142")
                await heard.until(lambda: heard.payloads(1))
            assert heard.payloads(1) == [b"142"]
            assert heard.links(1) == ["searching", "streaming", "stopped"]

    on_selector_loop(check())


def test_a_sensor_that_always_publishes_retained_is_heard(broker: Broker) -> None:
    """The retain flag of a publisher does not make a live message old."""

    async def check() -> None:
        with broker.publisher() as publisher:
            async with running(MqttSource(plan_for(broker.port))) as heard:
                await heard.until(heard.listening)
                for bpm in (b"140", b"141", b"142"):
                    await published(publisher, TOPICS[0], bpm, retain=True)
                await heard.until(lambda: len(heard.payloads(1)) == 3)
            assert heard.payloads(1) == [b"140", b"141", b"142"]
            assert not any("Left out" in words for words in heard.advice(1))

    on_selector_loop(check())


def test_the_stream_goes_on_after_the_broker_was_killed(broker: Broker) -> None:
    """Lost, out of reach with advice, found again and subscribed again, all without help."""

    async def check() -> None:
        async with running(MqttSource(plan_for(broker.port))) as heard:
            await heard.until(heard.listening)
            with broker.publisher() as publisher:
                await published(publisher, TOPICS[0], b"140")
                await heard.until(lambda: heard.payloads(1))
            broker.kill()
            await heard.until(lambda: LinkState.ADAPTER_OFF.value in heard.links(1))
            assert "cannot be reached" in heard.advice(1)[-1]
            await asyncio.to_thread(broker.start)
            await heard.until(lambda: heard.is_now(1, LinkState.SEARCHING))
            await heard.until(lambda: all("Waiting for" in heard.advice(n)[-1] for n in (1, 3)))
            with broker.publisher() as publisher:
                await published(publisher, TOPICS[0], b"141")
                await heard.until(lambda: len(heard.payloads(1)) == 2)
        assert heard.payloads(1) == [b"140", b"141"]
        assert heard.links(1) == [
            "searching", "streaming", "lost", "adapter off", "searching", "streaming", "stopped",
        ]  # fmt: skip
        # One record for each change of state, not for each attempt.
        assert heard.links(3) == ["searching", "adapter off", "searching", "stopped"]

    on_selector_loop(check())


def test_a_broker_that_is_not_there_is_waited_for(tmp_path: Path) -> None:
    """Started before its broker, the source says so once and connects when it comes."""
    broker = Broker(tmp_path)

    async def check() -> None:
        source = MqttSource(plan_for(broker.port))
        async with running(source) as heard:
            await heard.until(lambda: heard.is_now(1, LinkState.ADAPTER_OFF))
            assert f"127.0.0.1:{broker.port} cannot be reached" in heard.advice(1)[-1]
            await asyncio.to_thread(broker.start)
            source.connect(1)
            await heard.until(heard.listening)
        assert heard.links(1) == ["searching", "adapter off", "searching", "stopped"]

    try:
        on_selector_loop(check())
    finally:
        broker.kill()


def test_a_silent_topic_is_called_quiet(broker: Broker, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the broker there and no messages, the state is quiet, and streaming when they return."""
    monkeypatch.setattr(mqtt_topic, "QUIET_NS", 100_000_000)
    plan = plan_for(broker.port)
    short = replace(plan.sensors[0], hold_s=0.1)
    plan = replace(plan, sensors=(short, *plan.sensors[1:]))

    async def check() -> None:
        with broker.publisher() as publisher:
            async with running(MqttSource(plan)) as heard:
                await heard.until(heard.listening)
                await published(publisher, TOPICS[0], b"140")
                await heard.until(lambda: heard.is_now(1, LinkState.QUIET))
                assert "nothing comes on" in heard.advice(1)[-1]
                await published(publisher, TOPICS[0], b"141")
                await heard.until(lambda: heard.is_now(1, LinkState.STREAMING))
            assert heard.payloads(1) == [b"140", b"141"]

    on_selector_loop(check())
