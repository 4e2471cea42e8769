"""Publishing warnings: a real mosquitto on loopback, away and there again."""

from __future__ import annotations

import json
import queue
import time
from contextlib import contextmanager
from dataclasses import replace

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.notify.broker_client import PATIENCE_S
from live.notify.message import facts_for
from live.notify.publisher import Publisher
from live.notify.throttle import Call, CallReason
from replay.broker import Broker
from replay.errors import PlanError
from tests.standins.broker import running_broker
from tests.standins.feeds import PLAN

WARNING = SensorWarning(
    number=1,
    kind=WarningKind.SILENT,
    sensor=2,
    severity=Severity.TEST_FAULT,
    since_s=50,
    start_s=54,
    end_s=None,
    cause="Nothing comes any more.",
    advice="Look whether it is on.",
)
OVER = replace(WARNING, end_s=80, cleared="Notifications arrive again.")
TOPIC = "gym/warnings"
FACTS = facts_for(PLAN, 1_772_604_900 * 10**9)


@contextmanager
def listening(port):
    """What arrives on the topic: a queue of (QoS, retained, facts)."""
    heard = queue.Queue()
    ready = queue.Queue()
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _c, _d, m: heard.put((m.qos, m.retain, json.loads(m.payload)))
    client.on_subscribe = lambda *_: ready.put(None)
    client.on_connect = lambda c, *_: c.subscribe(TOPIC, qos=1)
    client.connect("127.0.0.1", port)
    client.loop_start()
    ready.get(timeout=30)
    try:
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()


@pytest.fixture
def broker(tmp_path):
    with running_broker(tmp_path) as running:
        yield running


def test_start_and_end_are_one_object_each(broker):
    """At least once, not retained, with the same facts as a replay prints; no reminder."""
    with listening(broker.port) as heard:
        publisher = Publisher(Broker(port=broker.port), TOPIC, FACTS)
        publisher.call(Call(CallReason.START, WARNING))
        publisher.call(Call(CallReason.REMINDER, WARNING))
        publisher.call(Call(CallReason.END, OVER))
        publisher.close()
        messages = [heard.get(timeout=30) for _ in range(2)]
    assert [m[:2] for m in messages] == [(1, False)] * 2
    start, end = (m[2] for m in messages)
    assert (start["event"], start["kind"], start["sensor"]) == ("start", "silent", "Sorrel")
    assert (start["start_s"], start["end_s"], start["wearer"]) == (54, None, "W1")
    assert end == {
        **start, "event": "end", "end_s": 80, "cleared": "Notifications arrive again.",
    }  # fmt: skip
    assert heard.empty()
    assert publisher.trouble() == ""


def test_what_a_broker_missed_comes_when_it_is_back(broker):
    """Messages wait for a broker that is away, and nobody waits for them."""
    publisher = Publisher(Broker(port=broker.port), TOPIC, FACTS)
    try:
        broker.kill()
        publisher.call(Call(CallReason.START, WARNING))
        broker.start()
        with listening(broker.port) as heard:
            publisher.call(Call(CallReason.END, OVER))
            events = {heard.get(timeout=40)[2]["event"]}
            # The first may have arrived before anybody listened.
            while "end" not in events:
                events.add(heard.get(timeout=40)[2]["event"])
        publisher.tend()
        assert publisher.trouble() == ""
    finally:
        publisher.close()


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def test_a_broker_that_is_not_there_is_said_once(tmp_path):
    """After a while, in one sentence; calls and the end go on without it."""
    clock = Clock()
    publisher = Publisher(Broker(port=1), TOPIC, FACTS, clock=clock)
    began = time.monotonic()
    try:
        publisher.call(Call(CallReason.START, WARNING))
        publisher.tend()
        assert publisher.trouble() == ""
        clock.now = PATIENCE_S + 1
        said = []
        for _ in range(3):
            publisher.tend()
            said.append(publisher.trouble())
    finally:
        publisher.close()
    assert said == [
        "the broker at 127.0.0.1:1 cannot be reached; warnings are not published", "", "",
    ]  # fmt: skip
    assert time.monotonic() - began < 30


def test_a_refusal_is_named(tmp_path):
    """A broker that lets nobody in is told from one that is not there."""
    clock = Clock()
    with running_broker(tmp_path, "allow_anonymous false") as broker:
        publisher = Publisher(Broker(port=broker.port), TOPIC, FACTS, clock=clock)
        try:
            give_up = time.monotonic() + 30
            while not publisher.refusal:
                assert time.monotonic() < give_up
                time.sleep(0.02)
            clock.now = PATIENCE_S + 1
            publisher.tend()
            said = publisher.trouble()
        finally:
            publisher.close()
    assert "refuses this computer (Not authorized)" in said


def test_an_impossible_broker_is_refused_at_once():
    """What can be known beforehand is an error of the plan."""
    with pytest.raises(PlanError, match=r"broker\.username"):
        Publisher(Broker(password_env="NOT_SET_ANYWHERE"), TOPIC, FACTS)
