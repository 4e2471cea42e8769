"""More messages of a topic than a sensor sends: what is kept, what is counted, what is said."""

from __future__ import annotations

import re
from types import SimpleNamespace

from live.capture.clock import MonotonicClock
from live.sources.mqtt import MqttSource
from live.sources.mqtt_topic import FLOOD, LONGEST_PAYLOAD, Topic
from replay.event import NS_PER_S
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


def test_a_topic_that_is_flooded_is_told_once_and_saved_whole() -> None:
    """A thousand readings a second are said to be no sensor's, once; as many as a fast sensor sends
    are not; all are kept.
    """
    heard, clock = Heard(), MonotonicClock()
    topic = Topic(1, plan_for(1).sensors[0])
    topic.begin(clock, heard.emit)
    for second, count in enumerate((10, 50, 51, 1000, 1000, 10, 1000, 1)):
        for number in range(count):
            topic.hear(second * NS_PER_S + number * 900_000, b"142", stored=False)
    assert len(heard.payloads(1)) == 3122
    told = [words for words in heard.advice(1) if "no heart-rate sensor sends so many" in words]
    assert [words.split()[0] for words in told] == ["51", "1000"]


def test_of_a_flood_of_rubbish_the_first_of_each_second_are_kept() -> None:
    """Of a thousand messages a second that cannot be read, as many as a sensor may send are kept,
    and the rest is counted, in one sentence a second; a reading among them is never left out.
    """
    heard = Heard()
    topic = Topic(1, plan_for(1).sensors[0])
    clock = SimpleNamespace(now_ns=lambda: 0)
    topic.begin(clock, heard.emit)
    for second in range(10):
        for number in range(1000):
            payload = b"142" if number % 100 == 99 else b"rubbish"
            topic.hear(second * NS_PER_S + number * 900_000, payload, stored=False)
    kept = heard.payloads(1)
    assert kept.count(b"142") == 100
    assert kept.count(b"rubbish") == 10 * FLOOD
    told = [words for words in heard.advice(1) if "floods" in words]
    assert len(told) == 10
    clock.now_ns = lambda: 11 * NS_PER_S
    topic.check_quiet()
    left_out = re.findall(r"\((\d+) left out so far\)", " ".join(heard.advice(1)))
    assert int(left_out[-1]) == 10_000 - len(kept)


def test_what_is_left_out_is_told_once_a_second_and_counted_whole() -> None:
    """A thousand stored or oversized messages a second are a sentence each second, not a thousand;
    the last one counts them all.
    """
    heard = Heard()
    topic = Topic(1, plan_for(1).sensors[0])
    clock = type("Clock", (), {"now_ns": lambda self: self.t_ns, "t_ns": 0})()
    topic.begin(clock, heard.emit)
    for number in range(3000):
        clock.t_ns = number * 1_000_000
        topic.hear(clock.t_ns, bytes(LONGEST_PAYLOAD + 1), stored=number % 2 == 0)
    clock.t_ns = 4 * NS_PER_S
    topic.check_quiet()
    topic.check_quiet()
    told = [words for words in heard.advice(1) if "Left out" in words]
    assert len(told) == 4
    assert "(1 left out so far)" in told[0]
    assert "(3000 left out so far)" in told[-1]
    assert heard.payloads(1) == []


def test_a_flood_of_rubbish_holds_no_reading_up(broker: Broker) -> None:
    """Two thousand messages of rubbish on one topic, in floods: each reading among them and on the
    other topic comes, and what was not kept is counted.
    """

    async def check() -> None:
        with broker.publisher() as publisher:
            async with running(MqttSource(plan_for(broker.port))) as heard:
                await heard.until(heard.listening)
                for start in range(4):
                    for number in range(500):
                        publisher.shout(TOPICS[0], b'{"%d": [[[' % number)
                    await published(publisher, TOPICS[0], b"%d" % (100 + start))
                    await published(publisher, TOPICS[1], b"%d" % (120 + start))
                    await heard.until(lambda n=start: len(heard.payloads(3)) > n)
                await heard.until(lambda: b"103" in heard.payloads(1))
                await heard.until(lambda: "left out so far" in "".join(heard.advice(1)[-2:]))
            assert [one for one in heard.payloads(1) if one.isdigit()] == [
                b"100", b"101", b"102", b"103",
            ]  # fmt: skip
            assert heard.payloads(3) == [b"120", b"121", b"122", b"123"]
            assert len(heard.payloads(1)) < 2000
            assert heard.links(1) == ["searching", "streaming", "stopped"]

    on_selector_loop(check())
