"""What a node hears arrives in order and once, whatever happens to the network in between."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path

import numpy as np
import pytest

from live.sources import broker as broker_module
from live.sources import kept_client
from live.sources.node import wire
from replay.event import ADVICE, HEART_RATE, LINK, MODEL
from tests.standins.broker import Broker, running_broker
from tests.standins.nodes import Listener, Node, ShiftedClock, fingerprint, node_plan, until
from tests.standins.proxy import running_proxy


@pytest.fixture(autouse=True)
def _eager(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who has lost the broker tries again soon."""
    monkeypatch.setattr(kept_client, "FIRST_WAIT_S", 0.1)
    monkeypatch.setattr(kept_client, "LONGEST_WAIT_S", 0.4)


@pytest.fixture
def _unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """What waits for an answer of a broker that is gone never comes to its end."""
    monkeypatch.setattr(broker_module, "TIMEOUT_S", 200.0)


def _run(tmp_path: Path, check: Callable[[Broker], Awaitable[None]]) -> None:
    with (
        running_broker(tmp_path) as broker,
        asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner,
    ):
        runner.run(check(broker))


def _equal(node: Node, listener: Listener, since: int, sensor: int | None = None) -> None:
    """All that the node heard from its event ``since`` on is there, in its order, once."""
    put = [e for e in node.put[since:] if e.channel == HEART_RATE]
    heard = [e for e in listener.heard if e.foreign.clock == node.clock_name]
    assert len(heard) == len(put)
    assert fingerprint((e.foreign.stamp_ns, e.payload) for e in heard) == fingerprint(
        (e.t_ns, e.payload) for e in put
    )


def test_notifications_come_with_their_own_stamps_on_this_clock(tmp_path: Path) -> None:
    """Between two clocks, 16 min and 40 ppm apart, each stamp is translated to within 5 ms."""

    async def check(broker: Broker) -> None:
        node, listener = Node(broker.port), Listener(node_plan(broker.port))
        node.clock.began_with(listener.clock)
        async with node.running(), listener.running():
            node.hear(1, MODEL, b"optical")
            await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
            since = len(node.put)
            for _ in range(100):
                node.hear()
                await asyncio.sleep(0.02)
            await until(lambda: len(listener.heard) == 100)
        _equal(node, listener, since)
        assert listener.told(MODEL) == [b"optical"]
        errors, delays = [], []
        for event, put in zip(listener.heard, node.put[since:], strict=True):
            assert event.foreign.offset_ns is not None
            true_ns = (put.t_ns - node.clock.ahead_ns) / (1 + 40e-6)
            placed_ns = event.foreign.stamp_ns + event.foreign.offset_ns
            errors.append(abs(placed_ns - true_ns))
            delays.append(event.t_ns - true_ns)
        assert np.percentile(errors, 99) < 5e6
        assert min(delays) > 0
        (known,) = listener.source.translations.values()
        assert max(errors) <= known.bound_ns + 1e6

    _run(tmp_path, check)


@pytest.mark.usefixtures("_unhurried")
def test_a_broker_that_restarts_costs_nothing(tmp_path: Path) -> None:
    """Broker killed in the middle and started again: all is there afterwards, late ones marked."""

    async def check(broker: Broker) -> None:
        node, listener = Node(broker.port), Listener(node_plan(broker.port))
        async with node.running(), listener.running():
            await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
            since = len(node.put)
            for number in range(150):
                if number == 30:
                    broker.kill()
                if number == 120:
                    broker.start()
                node.hear()
                await asyncio.sleep(0.02)
            await until(lambda: len(listener.heard) == 150)
            await until(lambda: listener.told(LINK)[-1] == b"streaming")
        _equal(node, listener, since)
        assert b"lost" in listener.told(LINK)
        assert any(b"came late" in said for said in listener.told(ADVICE))
        stamps = [e.foreign.stamp_ns for e in listener.heard]
        assert stamps == sorted(stamps)

    _run(tmp_path, check)


@pytest.mark.timeout(200)  # three reconnections, each with its pauses
@pytest.mark.usefixtures("_unhurried")
def test_ways_that_are_cut_and_slow_cost_nothing(tmp_path: Path) -> None:
    """Four nodes behind proxies that are cut and slowed: counts and hashes are equal."""

    async def check(broker: Broker) -> None:
        names = ("attic", "cellar", "hall", "yard")
        async with running_proxy(broker.port) as there, running_proxy(broker.port) as here:
            nodes = [
                Node(there.port, name, sensors=5, clock=ShiftedClock(10**12 * n, 10.0 * n))
                for n, name in enumerate(names, 1)
            ]
            listener = Listener(node_plan(here.port, names, sensors=5))
            async with (
                nodes[0].running(), nodes[1].running(), nodes[2].running(), nodes[3].running(),
                listener.running(),
            ):  # fmt: skip
                firsts = (2, 7, 12, 17)
                await until(
                    lambda: all(listener.told(LINK, n)[-1:] == [b"streaming"] for n in firsts)
                )
                since = [len(node.put) for node in nodes]
                for step in range(200):
                    if step in (40, 90, 140):
                        (there, here, there)[step // 50].cut()
                    if step in (70, 110, 150):
                        there.mend()
                        here.mend()
                    there.there_s = 0.08 if step % 3 else 0.0
                    for node in nodes:
                        node.hear(1 + step % 5)
                    await asyncio.sleep(0.02)
                there.there_s = 0.0
                await until(lambda: len(listener.heard) >= 800)
                await asyncio.sleep(0.5)
            for node, first in zip(nodes, since, strict=True):
                _equal(node, listener, first)

    _run(tmp_path, check)


def test_a_node_that_is_killed_is_seen_and_followed_again(tmp_path: Path) -> None:
    """Its last will shows it as off within seconds; started again, all that it hears comes."""

    async def check(broker: Broker) -> None:
        listener = Listener(node_plan(broker.port))
        async with running_proxy(broker.port) as way, listener.running():
            first = Node(way.port)
            async with first.running():
                await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
                since = len(first.put)
                first.hear()
                await until(lambda: len(listener.heard) == 1)
                way.cut()  # as if the computer had lost its power
                await until(lambda: listener.told(LINK)[-1] == b"searching", 10)
                assert b"is off" in listener.told(ADVICE)[-1]
            way.mend()
            second = Node(broker.port, clock=ShiftedClock(5_000, 0))
            second.clock.began_with(listener.clock)
            second.hear()
            async with second.running():
                second.hear()
                await until(lambda: len(listener.heard) == 3)
            _equal(first, listener, since)
            _equal(second, listener, 0)
            assert set(listener.source.translations) >= {second.clock_name}
            await until(
                lambda: b"stopped" in listener.told(LINK) or b"is off" in listener.told(ADVICE)[-1]
            )

    _run(tmp_path, check)


def test_two_nodes_of_one_name_are_noticed_at_both_ends(tmp_path: Path) -> None:
    """The first is listened to; the capture and both nodes say so."""

    async def check(broker: Broker) -> None:
        first, second = Node(broker.port), Node(broker.port)
        listener = Listener(node_plan(broker.port))
        async with first.running(), listener.running():
            await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
            since = len(first.put)
            async with second.running():
                await until(lambda: any("Another computer" in said for said in second.said))
                second.hear()
                first.hear()
                await until(lambda: any(b"Two computers" in said for said in listener.told(ADVICE)))
                await until(lambda: len(listener.heard) == 1)
            _equal(first, listener, since)

    _run(tmp_path, check)


def test_what_a_node_no_longer_keeps_is_told(tmp_path: Path) -> None:
    """More than its memory holds during an absence: the rest comes, and the hole is counted."""

    async def check(broker: Broker) -> None:
        async with running_proxy(broker.port) as way:
            node, listener = Node(way.port, kept=20), Listener(node_plan(broker.port))
            async with node.running(), listener.running():
                await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
                way.cut()
                await asyncio.sleep(0.3)
                for _ in range(50):
                    node.hear()
                way.mend()
                await until(lambda: len(listener.heard) == 20)
                await until(lambda: any(b"own capture only" in s for s in listener.told(ADVICE)))
            said = next(s for s in listener.told(ADVICE) if b"own capture only" in s)
            assert said.startswith(b"30 notifications")

    _run(tmp_path, check)


def test_rubbish_on_its_topics_is_refused(tmp_path: Path) -> None:
    """A thousand messages that are none, some of another run: nothing is disturbed."""

    async def check(broker: Broker) -> None:
        node, listener = Node(broker.port), Listener(node_plan(broker.port))
        async with node.running(), listener.running():
            await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
            since = len(node.put)
            with broker.publisher() as rude:
                for number in range(1000):
                    what = ("events", "state", "ask")[number % 3]
                    payload = (b"{", b'{"v":1}', b'{"v":1,"run":"0000000000000000","events":[]}')
                    rude.shout(f"sidebeat/nodes/attic/{what}", payload[number % 2])
                rude.publish("sidebeat/nodes/attic/events", payload[2])
                for _ in range(20):
                    node.hear()
                    await asyncio.sleep(0.01)
                await until(lambda: len(listener.heard) == 20)
                await until(lambda: listener.source.refused + node.relay.refused >= 1000)
            _equal(node, listener, since)

    _run(tmp_path, check)


def test_a_sensor_that_the_node_does_not_have_is_said(tmp_path: Path) -> None:
    """The plan names a sensor of the node that the node does not listen to."""

    async def check(broker: Broker) -> None:
        node, listener = Node(broker.port), Listener(node_plan(broker.port, sensors=2))
        async with node.running(), listener.running():
            await until(
                lambda: (
                    bool(listener.told(ADVICE, 3))
                    and b"does not listen" in listener.told(ADVICE, 3)[-1]
                )
            )
            assert listener.told(LINK, 3)[-1] == b"refused"

    _run(tmp_path, check)


def test_a_sensor_is_tried_again_by_the_nodes_radio(tmp_path: Path) -> None:
    """What a view asks of a node's sensor reaches the node, by the node's own number, soon; asked
    over and over it is done every 2 s at most, and for nobody who does not know the run.
    """

    async def check(broker: Broker) -> None:
        node = Node(broker.port, sensors=2)
        plan = node_plan(broker.port, sensors=2)
        listener = Listener(plan)
        async with node.running(), listener.running():
            await until(lambda: listener.told(LINK)[-1:] == [b"streaming"])
            listener.source.connect(3)
            await until(lambda: node.tried == [2], 5)
            for _ in range(20):
                listener.source.connect(3)
                await asyncio.sleep(0.01)
            with broker.publisher() as stranger:
                stranger.publish(
                    "sidebeat/nodes/attic/ask",
                    wire.pack_ask(wire.Ask("0" * 16, 1, run="f" * 16, connect=1)),
                )
            listener.source.connect(1)  # of this computer: not the node's
            await asyncio.sleep(0.5)
            assert node.tried == [2]
            listener.source.connect(2)
            await until(lambda: node.tried == [2, 1], 5)

    _run(tmp_path, check)
