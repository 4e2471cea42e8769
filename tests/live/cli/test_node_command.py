"""``sidebeat node``: as a program beside ``live`` and ``sensors``, and its plan."""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from analysis.session.load import session_of
from live.cli.main import run
from live.cli.node import node_plan, parse_place
from live.cli.sensors import suggested_plan
from live.protocol.capture_feed import CaptureFeed
from live.protocol.feed import Message
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from live.sources import simulated
from live.sources.node.listing import NodeSensorFound
from live.sources.node.wire import NodeSensor
from live.sources.simulated import SimulatedSource
from replay.capture import Capture
from replay.errors import SidebeatError
from replay.event import HEART_RATE, Event
from replay.plan import Plan, format_plan, parse_plan
from tests.standins.broker import free_port, running_broker
from tests.standins.running import follow, running_capture

ROOT = Path(__file__).parents[3]
PLAN = """
[session]
wearer = "W1"
activity = "rowing ergometer"

[broker]
host = "127.0.0.1"
port = PORT

[[sensor]]
label = "Yarrow"
role = "reference"
placement = "chest"
source = "simulated"
kind = "strap"

[[sensor]]
label = "Sorrel"
role = "test"
placement = "left wrist"
source = "node"
node = "attic"
kind = "wrist"
"""


def _start(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    """A program whose captures are found in ``folder``."""
    return subprocess.Popen(
        [sys.executable, "-m", "live", *arguments],
        cwd=ROOT,
        env={**os.environ, RUN_FOLDER_VARIABLE: str(folder)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def _facts(process: subprocess.Popen[str]) -> dict:
    out, err = process.communicate(timeout=100)
    assert process.returncode == 0, err
    return json.loads(out)


def _of_the_node(messages: list[Message]) -> list[Event]:
    """What was measured there, once its clock was known."""
    events = [m for m in messages if isinstance(m, Event) and m.channel == HEART_RATE]
    return [e for e in events if e.foreign is not None and e.foreign.offset_ns is not None]


def _heard(path: str, number: int) -> tuple[Capture, list]:
    with Capture.open(Path(path)) as capture:
        events = [e for e in capture.events() if (e.sensor, e.channel) == (number, HEART_RATE)]
    return capture, events


@pytest.mark.timeout(180)
def test_live_records_what_a_node_hears(tmp_path: Path) -> None:
    """Two programs and a broker: the same payloads in both files, at the same time within 5 ms."""
    near = tmp_path / "node"
    with running_broker(tmp_path) as broker:
        plan = parse_plan(PLAN.replace("PORT", str(broker.port)))
        file = tmp_path / "plan.toml"
        file.write_text(format_plan(plan))
        node = _start(
            near, "node", str(file), "--name", "attic", "--out", str(tmp_path / "there"), "--json"
        )
        assert node.stderr is not None
        while "is connected" not in (line := node.stderr.readline()):
            assert line, "the node has ended"
        listed = _start(near, "sensors", "--plan", str(file), "--seconds", "1", "--json")
        with running_capture(tmp_path / "here", plan, "--json") as capture:
            feed = capture.attach()
            follow(feed, lambda messages: len(_of_the_node(messages)) > 3)
            feed.send("stop")
            assert capture.wait() == 0, capture.stderr
            feed.close()
            here_facts = json.loads(capture.stdout)
        (there,) = _facts(listed)["node_sensors"]
        with closing(CaptureFeed.attach(*near.glob("*.json"))) as feed:
            feed.send("stop")
            there_facts = _facts(node)
    assert (there["node"], there["label"], there["online"]) == ("attic", "Sorrel", True)
    assert here_facts["not_heard"] == []
    (clock,) = here_facts["clocks"]
    assert clock["bound_ms"] < 100
    here, heard = _heard(here_facts["capture"], 2)
    at_node, put = _heard(there_facts["capture"], 1)
    assert here.plan.invented
    assert len(heard) > 3
    assert [e.foreign.clock for e in heard] == [clock["clock"]] * len(heard)
    assert clock["clock"] == f"node:attic/{at_node.uuid.replace('-', '')[:16]}"
    first = next(n for n, e in enumerate(put) if e.t_ns == heard[0].foreign.stamp_ns)
    assert [(e.t_ns, e.payload) for e in put[first : first + len(heard)]] == [
        (e.foreign.stamp_ns, e.payload) for e in heard
    ]
    # Both began on this computer's one clock: UTC of both beginnings tells the true offset.
    true_ns = at_node.started_utc_ns - here.started_utc_ns
    for event in heard:
        assert abs(event.foreign.offset_ns - true_ns) < 5_000_000
    assert abs(clock["offset_s"] * 1e9 - true_ns) < 5_000_000
    with Capture.open(Path(here_facts["capture"])) as capture:
        data, _ = session_of(capture)
    assert data.sensors[2].notifications == len(heard)


def test_a_node_ends_by_itself_after_the_minutes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """--minutes stops it, also while its broker is away, and what was heard is saved."""
    monkeypatch.setenv(RUN_FOLDER_VARIABLE, str(tmp_path / "run"))
    monkeypatch.setattr(simulated, "SimulatedSource", partial(SimulatedSource, speed=20.0))
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.replace("PORT", str(free_port())))
    asked = ["--name", "attic", "--out", str(tmp_path), "--minutes", "0.015", "--json"]
    assert run(["node", str(plan), *asked]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert (facts["reason"], facts["problem"]) == ("0.015 min have passed", "")
    with Capture.open(Path(facts["capture"])) as capture:
        assert capture.clean
        assert capture.duration_ns >= 0.9e9


def test_a_node_takes_its_own_sensors_of_a_plan(tmp_path: Path) -> None:
    """Those with its name, as sensors of its own radio; the broker may be another."""
    text = PLAN.replace("PORT", "1883").replace('kind = "wrist"', 'address = "C0:00:00:00:00:02"')
    path = tmp_path / "plan.toml"
    path.write_text(text)
    plan = node_plan([str(path)], "attic", ("192.168.1.20", 1884))
    (sensor,) = plan.sensors
    assert (sensor.source, sensor.address, sensor.role) == (
        "bluetooth", "C0:00:00:00:00:02", "reference",
    )  # fmt: skip
    assert (plan.broker.host, plan.broker.port) == ("192.168.1.20", 1884)
    with pytest.raises(SidebeatError, match="its nodes: attic"):
        node_plan([str(path)], "cellar", None)


def test_a_node_takes_sensors_by_name_and_address() -> None:
    """Without a plan; a broker is needed then."""
    plan = node_plan(["C0:00:00:00:00:02", "Tansy"], "attic", ("127.0.0.1", 1883))
    assert [(s.address, s.name) for s in plan.sensors] == [
        ("C0:00:00:00:00:02", ""), ("", "Tansy"),
    ]  # fmt: skip
    with pytest.raises(SidebeatError, match="say which broker"):
        node_plan(["Tansy"], "attic", None)


@pytest.mark.parametrize(
    ("text", "place"),
    [("bench", ("bench", 1883)), ("bench:99", ("bench", 99)), ("[::1]:99", ("::1", 99))],
)
def test_a_broker_is_named_with_or_without_its_port(text: str, place: tuple[str, int]) -> None:
    """HOST and HOST:PORT are read; other things are refused."""
    assert parse_place(text) == place
    for bad in ("", ":1", "bench:0", "bench:70000", "bench:x"):
        with pytest.raises(argparse.ArgumentTypeError):
            parse_place(bad)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["Tansy", "--name", "a b", "--broker", "h"], "--name must be"),
        (["Tansy", "--name", "attic"], "say which broker"),
        (["Tansy", "--name", "attic", "--broker", "h", "--minutes", "0"], "--minutes must be"),
        (["lacking.toml", "--name", "attic"], "lacking.toml"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong option ends the command with a sentence on stderr and status 2."""
    assert run(["node", *arguments]) == 2
    assert said in capsys.readouterr().err


def test_a_plan_is_suggested_of_the_sensors_of_nodes() -> None:
    """They stand in it with their node, and one of all is the reference."""
    there = [
        NodeSensorFound("attic", True, NodeSensor(number=1, label="Sorrel", address="C0:2")),
        NodeSensorFound("hall", True, NodeSensor(number=1, label="Sorrel", address="C0:3")),
    ]
    plan = suggested_plan([], there)
    assert isinstance(plan, Plan)
    assert parse_plan(format_plan(plan)) == plan
    assert [(s.label, s.node, s.role) for s in plan.sensors] == [
        ("Sorrel", "attic", "reference"), ("Sorrel 2", "hall", "test"),
    ]  # fmt: skip
    assert replace(plan.sensors[1], label="x").source == "node"
