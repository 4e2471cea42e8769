"""What an MQTT message may hold: a number, bytes, JSON, its sender's time; what is left out."""

from __future__ import annotations

import json
from dataclasses import replace

from live.capture.clock import MonotonicClock
from live.sources.mqtt import MqttSource
from live.sources.mqtt_topic import LONGEST_PAYLOAD, Topic
from replay.channels import decode
from replay.event import MQTT_MESSAGE, NS_PER_S, Stamp
from replay.message_form import MessageForm
from replay.payloads import HeartRate
from tests.standins.broker import Broker
from tests.standins.mqtt_source import (
    TOPICS,
    Heard,
    broker_fixture,  # noqa: F401
    on_selector_loop,
    plan_for,
    published,
    running,
)


def test_a_message_that_cannot_be_a_heart_rate_is_left_out_and_counted(broker: Broker) -> None:
    """A picture published on the topic by mistake does not fill the capture."""

    async def check() -> None:
        with broker.publisher() as publisher:
            async with running(MqttSource(plan_for(broker.port))) as heard:
                await heard.until(heard.listening)
                await published(publisher, TOPICS[0], bytes(LONGEST_PAYLOAD + 1))
                await published(publisher, TOPICS[0], b"7" * LONGEST_PAYLOAD)
                await heard.until(lambda: heard.payloads(1))
            assert heard.payloads(1) == [b"7" * LONGEST_PAYLOAD]
            assert any("a message of 513 bytes" in words for words in heard.advice(1))

    on_selector_loop(check())


def test_a_message_that_cannot_be_read_is_shown_once(broker: Broker) -> None:
    """The first such message is shown beside what is expected; all are kept as they came."""

    async def check() -> None:
        async with running(MqttSource(plan_for(broker.port))) as heard:
            await heard.until(heard.listening)
            with broker.publisher() as publisher:
                for payload in (b'{"heart": 142}', b"\x1b[31mred", b"142"):
                    await published(publisher, TOPICS[0], payload)
                await heard.until(lambda: len(heard.payloads(1)) == 3)
        told = [words for words in heard.advice(1) if "cannot be read" in words]
        assert len(told) == 1
        assert '{"heart": 142}' in told[0]
        assert "such as 142" in told[0]

    on_selector_loop(check())


def test_json_is_read_where_the_plan_says(broker: Broker) -> None:
    """Messages are kept as they came behind their form, and one that leads nowhere gets the reason
    and what is expected.
    """
    plan = plan_for(broker.port)
    form = MessageForm(value="heart.bpm", rr="heart.rr")
    plan = replace(plan, sensors=(replace(plan.sensors[0], message=form), *plan.sensors[1:]))
    sent = [b'{"heart": {"bpm": 142, "rr": [420]}}', b'{"heart": 142}', b'{"pulse": 1}']

    async def check() -> None:
        async with running(MqttSource(plan)) as heard:
            await heard.until(lambda: any("Waiting for" in words for words in heard.advice(1)))
            with broker.publisher() as publisher:
                for payload in sent:
                    await published(publisher, TOPICS[0], payload)
                await heard.until(lambda: len(heard.payloads(1, MQTT_MESSAGE)) == 3)
        kept = heard.payloads(1, MQTT_MESSAGE)
        assert [one.partition(b"\x1e")[2] for one in kept] == sent
        assert decode(MQTT_MESSAGE, kept[0]) == HeartRate(142_000, rr=(430,))
        told = [words for words in heard.advice(1) if "cannot be read" in words]
        assert len(told) == 1
        assert "nothing stands at 'heart.bpm'" in told[0]
        assert "Expected is JSON with a number of beats a minute at 'heart.bpm'" in told[0]

    on_selector_loop(check())


def stamps_of(times: list[object], **form: str) -> tuple[list[Stamp | None], list[str]]:
    """The stamps that messages with these times are given, and the advice; one a second."""
    sensor = plan_for(1).sensors[0]
    message = MessageForm(value="bpm", time="at.ts", **form)
    heard = Heard()
    topic = Topic(2, replace(sensor, message=message))
    topic.begin(MonotonicClock(), heard.emit)
    for second, at in enumerate(times):
        text = json.dumps({"bpm": 60 + second, "at": {"ts": at}}).encode()
        topic.hear(second * NS_PER_S, text, stored=False)
    events = [event for event in heard.events if event.channel == MQTT_MESSAGE]
    assert [event.t_ns for event in events] == [n * NS_PER_S for n in range(len(times))]
    return [event.foreign for event in events], heard.advice(2)


def test_a_senders_time_is_kept_beside_the_arrival() -> None:
    """As its clock counts, in ns, without an offset: nobody knows how it stands to this one."""
    told, advice = stamps_of([1772604900123, "1772604901123"], time_clock="utc")
    assert told == [
        Stamp(1772604900123 * 10**6, "mqtt:2/utc"), Stamp(1772604901123 * 10**6, "mqtt:2/utc"),
    ]  # fmt: skip
    assert advice == []


def test_a_count_that_begins_anew_is_another_clock() -> None:
    """A sender that was switched off and on, or whose number was full, counts by a new name; a
    message that came late is of the old count, and UTC has no beginning.
    """
    times: list[object] = [100.5, 101.5, 99.5, 102.5, 0.25, 1.25, 0.5]
    told, _ = stamps_of(times, time_unit="s")
    assert [one and one.clock for one in told] == ["mqtt:2/1"] * 4 + ["mqtt:2/2"] * 3
    assert [one and one.stamp_ns for one in told] == [round(t * 1e9) for t in times]  # type: ignore[operator]
    utc, _ = stamps_of(times, time_unit="s", time_clock="utc")
    assert {one and one.clock for one in utc} == {"mqtt:2/utc"}


def test_a_message_without_its_time_is_a_reading_all_the_same() -> None:
    """What is missing, no number or out of range is said once; the arrival stands."""
    told, advice = stamps_of([None, True, "soon", 1e300, 10**30, [1], 7])
    assert told == [None] * 6 + [Stamp(7_000_000, "mqtt:2/1")]
    assert len(advice) == 1
    assert "is kept without its time: no time stands at 'at.ts'" in advice[0]
