"""The MQTT source against a real mosquitto on the loopback interface."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from live.capture.clock import MonotonicClock
from live.sources import mqtt_topic
from live.sources.mqtt import MqttSource
from live.sources.mqtt_topic import FLOOD, LONGEST_PAYLOAD, Topic
from replay.broker import Broker as PlannedBroker
from replay.channels import decode
from replay.errors import PlanError
from replay.event import ADVICE, LINK, MQTT_HEART_RATE, MQTT_MESSAGE, NS_PER_S, Event, Stamp
from replay.link_state import LinkState
from replay.message_form import MessageForm
from replay.payloads import HeartRate
from replay.plan import Plan, PlannedSensor
from tests.standins.broker import Broker, Publisher, password_file, running_broker

TOPICS = ("bench/yarrow/hr", "bench/sorrel/hr")


def plan_for(port: int, **broker: object) -> Plan:
    return Plan(
        wearer="W1",
        activity="stair climbing",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic=TOPICS[0]),
            PlannedSensor(label="Bracken", role="test", source="bluetooth", name="Bracken"),
            PlannedSensor(label="Sorrel", role="test", source="mqtt", topic=TOPICS[1]),
        ),
        broker=PlannedBroker(host="127.0.0.1", port=port, **broker),  # type: ignore[arg-type]
    )


class Heard:
    """Collects what a source emits; ``until`` waits for a condition on it."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self._changed = asyncio.Event()

    def emit(
        self,
        t_ns: int,
        sensor: int,
        channel: str,
        payload: bytes,
        *,
        foreign: Stamp | None = None,
    ) -> None:
        self.events.append(Event(t_ns, sensor, channel, payload, foreign))
        self._changed.set()

    async def until(self, condition: Callable[[], object]) -> None:
        async with asyncio.timeout(40):
            while not condition():
                self._changed.clear()
                await self._changed.wait()

    def links(self, sensor: int) -> list[str]:
        return [e.payload.decode() for e in self.events if (e.sensor, e.channel) == (sensor, LINK)]

    def is_now(self, sensor: int, state: LinkState) -> bool:
        return self.links(sensor)[-1:] == [state.value]

    def advice(self, sensor: int) -> list[str]:
        return [
            e.payload.decode() for e in self.events if (e.sensor, e.channel) == (sensor, ADVICE)
        ]

    def payloads(self, sensor: int, channel: str = MQTT_HEART_RATE) -> list[bytes]:
        return [e.payload for e in self.events if (e.sensor, e.channel) == (sensor, channel)]

    def listening(self) -> bool:
        return all(any("Waiting for" in words for words in self.advice(n)) for n in (1, 3))


@asynccontextmanager
async def running(source: MqttSource) -> AsyncIterator[Heard]:
    heard = Heard()
    task = asyncio.create_task(source.run(MonotonicClock(), heard.emit))
    try:
        yield heard
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def on_selector_loop(work) -> None:
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(work)


@pytest.fixture
def broker(tmp_path: Path):
    with running_broker(tmp_path) as broker:
        yield broker


async def published(publisher: Publisher, topic: str, payload: bytes, *, retain=False) -> None:
    await asyncio.to_thread(publisher.publish, topic, payload, retain=retain)


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


def test_a_wrong_password_is_refused_with_advice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The state is refused, the sentence names what to check and never the password."""
    passwords = tmp_path / "passwords"
    passwords.write_text("")
    settings = f"allow_anonymous false\npassword_file {passwords}"
    monkeypatch.setenv("BENCH_SECRET", "opensesame")

    async def check(port: int) -> None:
        plan = plan_for(port, username="tester", password_env="BENCH_SECRET")
        async with running(MqttSource(plan)) as heard:
            await heard.until(lambda: heard.is_now(1, LinkState.REFUSED))
            await heard.until(lambda: heard.advice(1))
        assert "check username in [broker], and the password" in heard.advice(1)[-1]
        assert not any(b"opensesame" in event.payload for event in heard.events)

    with running_broker(tmp_path, settings) as broker:
        on_selector_loop(check(broker.port))


def test_the_password_comes_from_the_named_variable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the right password in the environment the topic is heard."""
    passwords = password_file(tmp_path, "tester", "opensesame")
    settings = f"allow_anonymous false\npassword_file {passwords}"
    monkeypatch.setenv("BENCH_SECRET", "opensesame")

    async def check(port: int) -> None:
        publisher = Publisher(port, "tester", "opensesame")
        try:
            plan = plan_for(port, username="tester", password_env="BENCH_SECRET")
            async with running(MqttSource(plan)) as heard:
                await heard.until(heard.listening)
                await published(publisher, TOPICS[0], b"142")
                await heard.until(lambda: heard.payloads(1))
            assert heard.payloads(1) == [b"142"]
        finally:
            publisher.close()

    with running_broker(tmp_path, settings) as broker:
        on_selector_loop(check(broker.port))


@pytest.mark.parametrize(
    ("settings", "complaint"),
    [
        ({"username": "tester", "password_env": "NOT_SET_ANYWHERE"}, "is not set"),
        ({"password_env": "PATH"}, "is needed where there is a password"),
    ],
)
def test_an_impossible_login_is_known_beforehand(settings, complaint: str) -> None:
    """What can be seen in the plan is said before anything starts."""
    with pytest.raises(PlanError, match=complaint):
        MqttSource(plan_for(1883, **settings))


@pytest.mark.parametrize("port", [0, 65536, -1])
def test_an_impossible_port_is_known_beforehand(port: int) -> None:
    """A port outside 1 to 65535 is an error of the plan."""
    with pytest.raises(PlanError, match=r"broker\.port"):
        MqttSource(plan_for(port))
