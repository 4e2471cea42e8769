"""Notifier from end to end: a capture of its own, a real broker, a real command, a real player."""

from __future__ import annotations

import json
import sys
import threading
import time
from contextlib import closing, contextmanager
from dataclasses import replace

import pytest

from live import __main__ as entry
from live.cli.replay import play_out
from live.protocol.feed import Acknowledged, Tick
from live.protocol.file_feed import FileFeed
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from live.protocol.view_model import ViewModel
from live.setup.agreed_commands import agree
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from replay.attention import AttentionPlan
from replay.broker import Broker
from replay.capture import Capture
from replay.event import ACKNOWLEDGED
from replay.plan import Plan, PlannedSensor, format_plan
from tests.live.notify.test_publisher import TOPIC, listening
from tests.standins.bluez_sensor import heart_rate
from tests.standins.broker import running_broker
from tests.standins.running import NOBODY_HEARD, follow, running_capture

pytestmark = pytest.mark.timeout(120)

CONTACT_LOST = 0x04
"""Flags of a heart-rate payload: the sensor knows of contact, and has none."""
NOTE = """
import os, sys
with open(sys.argv[1], "a") as file:
    file.write(os.environ["SIDEBEAT_KIND"] + "|" + os.environ["SIDEBEAT_SENSOR"] + "\\n")
"""


@pytest.fixture(autouse=True)
def _own_config(tmp_path, monkeypatch):
    """Commands are agreed to for this test alone, and what records here is found by it alone."""
    monkeypatch.setenv(RUN_FOLDER_VARIABLE, str(tmp_path / "running"))
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path / "config"))


def plan_on(port, **attention):
    """Two sensors on this broker."""
    if command := attention.get("command"):
        agree(command)
    sensors = (
        PlannedSensor(label="Yarrow", role="reference", source="mqtt", topic="gym/yarrow"),
        PlannedSensor(label="Sorrel", role="test", source="mqtt", topic="gym/sorrel"),
    )
    return Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=sensors,
        broker=Broker(port=port),
        attention=AttentionPlan(**attention),
    )


@contextmanager
def slipped_off(broker, capture):
    """Both sensors lose the skin at once, and say so five times a second: they are called to
    sooner than sensors of which nothing comes.
    """
    with closing(capture.attach()) as feed:
        follow(feed, lambda found: waited_for(found) == {1, 2})
    over = threading.Event()

    def publish():
        with broker.publisher() as publisher:
            payload = heart_rate(80)
            while not over.wait(0.2):
                for topic in ("gym/yarrow", "gym/sorrel"):
                    publisher.publish(topic, payload)
                payload = bytes((CONTACT_LOST, 80))

    thread = threading.Thread(target=publish)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def waited_for(messages):
    """The sensors whose topics are subscribed."""
    return {m.sensor for m in messages if b"Waiting" in getattr(m, "payload", b"")}


def lines_of(path):
    return path.read_text().splitlines() if path.exists() else []


def test_each_warning_is_told_once_whoever_looks_on(tmp_path):
    """Without a view of its own and with two attached ones, command and topic hear of each warning
    once; an acknowledgement is recorded and seen again in the replay; the end is told.
    """
    noted = tmp_path / "noted"
    command = (sys.executable, "-c", NOTE, str(noted))
    with running_broker(tmp_path) as broker, listening(broker.port) as heard:
        plan = plan_on(broker.port, command=command, topic=TOPIC)
        with running_capture(tmp_path / "run", plan, "--view", "none", "--json") as capture:
            feeds = [capture.attach(), capture.attach()]
            models = [ViewModel(feed) for feed in feeds]

            def standing(model):
                model.pump()
                return {w.sensor: w for w in model.snapshot().open_warnings}

            with slipped_off(broker, capture):
                capture.until(lambda: standing(models[0]).keys() == {1, 2}, "warnings")
                capture.until(lambda: len(lines_of(noted)) >= 2, "runs of the command")
            models[0].acknowledge([standing(models[0])[2]])
            capture.until(
                lambda: standing(models[1])[2].acknowledged_s is not None, "acknowledgement"
            )
            assert standing(models[1])[1].calls
            feeds[0].send("stop")
            assert capture.wait() == 0
            for feed in feeds:
                feed.close()
            facts = json.loads(capture.stdout)
            path = capture.file()
        told = [heard.get(timeout=20)[2] for _ in range(4)]
        time.sleep(0.3)  # whatever came twice would have come by now
        assert heard.empty()
    assert facts["problem"] == ""
    kinds = {(w.kind.value, plan.sensor(w.sensor).label) for w in models[1].board.warnings}
    assert sorted(lines_of(noted)) == sorted(f"{kind}|{label}" for kind, label in kinds)
    for event in ("start", "end"):
        assert {(m["kind"], m["sensor"]) for m in told if m["event"] == event} == kinds
    with Capture.open(path) as stored:
        assert stored.plan.attention == AttentionPlan(topic=TOPIC)
        (event,) = (e for e in stored.events() if e.channel == ACKNOWLEDGED)
        assert (event.sensor, event.payload.decode()) == (2, models[1].board.warnings[-1].kind)
    with FileFeed(path, None) as feed:
        assert play_out(feed).board.warnings == models[1].board.warnings


def test_what_goes_wrong_is_shown_and_stops_nothing(tmp_path):
    """A command that fails and a topic on a broker that is not there: one sentence each at most, in
    the status of every view and on the terminal; the capture goes on.
    """
    fails = (sys.executable, "-c", "import sys; sys.exit(9)")
    with running_broker(tmp_path) as broker:
        plan = plan_on(broker.port, command=fails)
        with running_capture(tmp_path / "run", plan, "--view", "none", saved=False) as capture:
            feed = capture.attach()
            with slipped_off(broker, capture):
                messages = follow(feed, lambda found: any(getattr(m, "trouble", "") for m in found))
            (status,) = [m for m in messages if getattr(m, "trouble", "")][:1]
            assert status.trouble.endswith("for warnings ended with status 9")
            assert status.problem == ""
            assert status.in_front
            assert capture.process.poll() is None
            feed.send("stop")
            follow(feed, lambda found: any(isinstance(m, Acknowledged) for m in found))
            assert capture.wait() == 0
            feed.close()
    assert "Note: the command" in capture.stdout


def test_a_watcher_that_dies_is_said_and_missed(tmp_path):
    """Killed, the watcher is mentioned once, and the capture goes on."""
    import psutil

    with running_broker(tmp_path) as broker:
        plan = plan_on(broker.port, topic=TOPIC)
        with running_capture(tmp_path / "run", plan, "--view", "none", saved=False) as capture:
            feed = capture.attach()
            found = []

            def is_there():
                children = psutil.Process(capture.process.pid).children()
                found[:] = [c for c in children if "--watch" in c.cmdline()]
                return found

            capture.until(is_there, "watcher")
            found[0].kill()
            capture.until(lambda: "The watcher was ended by SIGKILL" in capture.stdout, "sentence")
            follow(feed, lambda messages: sum(isinstance(m, Tick) for m in messages) > 4)
            feed.send("stop")
            assert capture.wait() == NOBODY_HEARD
            feed.close()
    assert capture.stdout.count("The watcher") == 1


@pytest.mark.parametrize(
    ("attention", "sentence", "options"),
    [
        ({"command": ("no-such-program",)}, "names a program that is not found", ()),
        ({}, "names a program that is not found", ("--on-warning", "no-such-program -x")),
        ({"quiet": {"sillent": 3.0}}, "knows the kinds", ()),
        ({"topic": "gym/w"}, "broker.username: is needed", ()),
    ],
)
def test_what_cannot_work_is_refused_before_the_start(
    tmp_path, capsys, attention, sentence, options
):
    """One sentence and exit status 2, and no capture was begun."""
    plan = plan_on(1, **attention)
    if "topic" in attention:
        simulated = tuple(
            replace(s, source="simulated", kind="strap", topic="") for s in plan.sensors
        )
        plan = replace(plan, sensors=simulated, broker=Broker(password_env="HOME"))
    file, out = tmp_path / "plan.toml", tmp_path / "captures"
    file.write_text(format_plan(plan), encoding="utf-8")
    asked = ["--plan", str(file), "--out", str(out), "--view", "none", "--minutes", "0.01"]
    assert entry.main(["live", *asked, *options]) == 2
    assert sentence in capsys.readouterr().err
    assert not out.exists()
