"""The listening process of the set-up page says who is a node, at a real broker."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from live.sources.node import wire
from replay.plan import parse_sensor
from tests.standins.broker import running_broker
from tests.standins.listening import TOLD_S, brisk_listener


@pytest.mark.timeout(120)
def test_nodes_are_told_as_sensors_of_a_plan(tmp_path: Path) -> None:
    """Those that are there, as tables of a plan; what is wrong with a broker; nothing unasked."""
    state = wire.State("0" * 16, True, (wire.NodeSensor(number=1, label="Sorrel", address="C0:2"),))
    gone = wire.State("1" * 16, False, state.sensors)
    child = brisk_listener()
    said: list[dict] = []

    def wait_for(true) -> dict:
        give_up = time.monotonic() + 40
        while not (fitting := [line for line in said if true(line)]):
            assert time.monotonic() < give_up, said
            said.extend(child.poll())
            time.sleep(0.05)
        said.clear()
        return fitting[-1]

    try:
        with running_broker(tmp_path) as broker:
            with broker.publisher() as publisher:
                for name, one in (("attic", state), ("hall", gone)):
                    topic = wire.topic(name, "state")
                    publisher.publish(topic, wire.pack_state(one), retain=True)
                publisher.publish(wire.topic("yard", "state"), b"rubbish", retain=True)
            child.say({"broker": {"host": "127.0.0.1", "port": broker.port}})
            told = wait_for(lambda line: line.get("node_sensors"))
            (row,) = told["node_sensors"]
            planned = parse_sensor("sensor", row)
            assert (planned.node, planned.label, planned.address) == ("attic", "Sorrel", "C0:2")
            assert told["node_problem"] == ""
        wait_for(lambda line: "cannot be reached" in line.get("node_problem", ""))
        child.say({"broker": None})
        time.sleep(1.0)
        child.poll()
        time.sleep(4 * TOLD_S)
        assert not any("node_sensors" in line for line in child.poll())
    finally:
        child.end()
