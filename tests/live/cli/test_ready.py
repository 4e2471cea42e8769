"""``sidebeat ready``: each thing is tried for real, and told with what to do."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from live import preflight
from live.cli import machine
from live.cli.machine import State
from live.cli.main import run
from tests.standins.broker import Broker, free_port, running_broker

PLAN = """
[session]
wearer = "W1"
activity = "rowing ergometer"

[broker]
port = {port}
{more}

[[sensor]]
label = "Yarrow"
role = "reference"
source = "mqtt"
topic = "bench/yarrow/hr"
"""


def looked(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, dict]]:
    """Exit status, and the checks by key."""
    status = run(["ready", "--json", *arguments])
    facts = json.loads(capsys.readouterr().out)
    assert facts["ready"] is (status == 0)
    return status, {check["key"]: check for check in facts["checks"]}


def plan_file(folder: Path, port: int, more: str = "") -> str:
    file = folder / "plan.toml"
    file.write_text(PLAN.format(port=port, more=more))
    return str(file)


def test_a_plan_over_a_broker_that_is_there(tmp_path: Path, capsys):
    """The broker is tried; Bluetooth, which the plan does not need, is not asked for."""
    with running_broker(tmp_path) as broker:
        plan = plan_file(tmp_path, broker.port)
        status, found = looked(capsys, "--plan", plan, "--out", str(tmp_path / "captures"))
    assert status == 0
    assert found["broker"]["sentence"] == f"127.0.0.1:{broker.port} lets in"
    assert "bluetooth" not in found
    assert str(tmp_path / "captures") in found["folder"]["sentence"]


def test_a_broker_that_the_board_is_published_on_is_tried(tmp_path: Path, capsys):
    """Also where no sensor comes over it."""
    file = tmp_path / "plan.toml"
    sensor = 'source = "simulated"\nkind = "strap"'
    over_mqtt = 'source = "mqtt"\ntopic = "bench/yarrow/hr"'
    with running_broker(tmp_path) as broker:
        text = PLAN.format(port=broker.port, more='publish = "gym/board"')
        assert over_mqtt in text
        file.write_text(text.replace(over_mqtt, sensor))
        _, found = looked(capsys, "--plan", str(file), "--out", str(tmp_path))
    assert found["broker"]["sentence"] == f"127.0.0.1:{broker.port} lets in"


def test_a_broker_that_is_not_there_is_a_problem(tmp_path: Path, capsys):
    """What is wrong with it is its sentence, and the exit status is 1."""
    port = Broker(tmp_path).port
    status, found = looked(capsys, "--plan", plan_file(tmp_path, port), "--out", str(tmp_path))
    assert (status, found["broker"]["state"]) == (1, "problem")
    assert "nothing listens on port" in found["broker"]["sentence"]


def test_a_plan_that_cannot_be_meant_is_told_for_the_broker(tmp_path: Path, capsys):
    """A password variable that is not set is a problem of the broker's line, not an end."""
    plan = plan_file(tmp_path, 1883, 'username = "tester"\npassword_env = "NOT_SET_ANYWHERE"')
    status, found = looked(capsys, "--plan", plan)
    assert status == 1
    assert "NOT_SET_ANYWHERE" in found["broker"]["sentence"]


def test_a_folder_that_cannot_be_written_is_a_problem(tmp_path: Path, capsys):
    """A file in the folder's place is named."""
    (tmp_path / "taken").write_text("")
    _, found = looked(capsys, "--out", str(tmp_path / "taken"))
    assert found["folder"]["state"] == "problem"
    assert "is not a folder" in found["folder"]["sentence"]


def test_bluetooth_is_asked_for_without_a_plan(tmp_path: Path, capsys, monkeypatch):
    """Where no system bus answers, the line says what Bluetooth needs."""
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path / 'no-bus'}")
    _, found = looked(capsys)
    assert found["bluetooth"]["state"] == "problem"
    assert "D-Bus" in found["bluetooth"]["sentence"]


def test_what_only_limits_is_no_problem(monkeypatch):
    """Without a player of sounds, or an extra, sessions are recorded all the same."""
    monkeypatch.setattr(shutil, "which", lambda _: None)
    monkeypatch.setattr(machine.preflight, "missing_packages", lambda names: list(names.values()))
    assert machine.sound().state is State.LIMITED
    packages = machine.packages()
    assert packages.state is State.LIMITED
    assert "window,report,files" in packages.sentence


def test_a_clock_of_the_past_is_a_problem():
    """A computer that believes it is 1970 says so before it stamps anything."""
    past = machine.clock(lambda: datetime(1970, 1, 1, tzinfo=UTC))
    assert past.state is State.PROBLEM
    assert "01 January 1970" in past.sentence


def test_lines_for_people_begin_with_the_state(tmp_path: Path, capsys):
    """One line each: state, what, sentence."""
    run(["ready", "--out", str(tmp_path)])
    lines = capsys.readouterr().out.splitlines()
    extras = {**preflight.WINDOW_PACKAGES, **preflight.REPORT_PACKAGES, **preflight.FILE_PACKAGES}
    packages = "limited" if preflight.missing_packages(extras) else "good"
    assert [line.split()[0] for line in lines[:2]] == ["good", packages]
    assert all(line.split()[0] in {"good", "limited", "problem"} for line in lines)


@pytest.mark.parametrize(
    ("words", "meant"),
    [(["replau"], "did you mean 'replay'?"), (["replay", "--spead", "3"], None)],
)
def test_what_may_have_been_meant_is_named(words: list[str], meant: str | None, capsys):
    """A command or an option that does not exist is answered with the nearest one."""
    assert run(words if meant else [*words, "x.sqlite"]) == 2
    assert (meant or "did you mean --speed?") in capsys.readouterr().err


def test_the_page_of_a_plan_is_tried(tmp_path: Path, capsys):
    """Whether its port is free and its packages are there, before the day on which it is wanted."""
    plain = 'address = "127.0.0.1"\nport = {port}\n'
    with running_broker(tmp_path) as broker:
        for port, state in ((free_port(), State.GOOD), (broker.port, State.PROBLEM)):
            plan = plan_file(tmp_path, broker.port, "\n[page]\n" + plain.format(port=port))
            status, found = looked(capsys, "--plan", plan, "--out", str(tmp_path / "captures"))
            assert found["page"]["state"] == state.value
            assert (status == 0) is (state is State.GOOD)
    assert "something listens on" in found["page"]["sentence"]
