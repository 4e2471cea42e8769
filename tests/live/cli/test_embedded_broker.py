"""``--embedded-broker``: a broker of one's own beside the recording, and when it is refused."""

from __future__ import annotations

import os
import signal
import socket
import time
from dataclasses import replace

import amqtt  # noqa: F401 - an extra, without which this module is skipped
import paho.mqtt.client as paho
import psutil
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from live import __main__ as entry
from live import preflight
from live.cli.embedded_broker import EmbeddedBroker, with_embedded
from live.cli.main import WRONG
from live.protocol.feed import CaptureStatus
from replay.broker import Broker
from replay.capture import Capture
from replay.errors import SidebeatError
from replay.event import HEART_RATE, MQTT_HEART_RATE
from replay.plan import PlannedSensor, format_plan
from tests.standins.board_reader import reading_board
from tests.standins.broker import Publisher, free_port
from tests.standins.feeds import PLAN
from tests.standins.running import follow, running_capture

pytestmark = pytest.mark.timeout(120)

MQTT = replace(
    PLAN,
    sensors=(
        PlannedSensor(
            label="Yarrow", role="reference", placement="chest", source="mqtt", topic="gym/yarrow"
        ),
        PlannedSensor(
            label="Sorrel", role="test", placement="left wrist", source="mqtt", topic="gym/sorrel"
        ),
    ),
)


def test_sensors_and_a_published_board_use_it(tmp_path):
    """Values that a program of this computer publishes are recorded, and the board is published on
    the same broker, with nothing else at hand.
    """
    port = free_port()
    options = ("--view", "none", "--publish", "gym/board", "--embedded-broker", str(port))
    with running_capture(tmp_path / "run", MQTT, *options) as capture:
        capture.until(lambda: f"listens on 127.0.0.1:{port}" in capture.stdout, "broker")
        publisher = Publisher(port)
        with reading_board(port, "gym/board") as reader:
            capture.until(lambda: reader.state == "recording", "state")
            for bpm in range(100, 120):
                publisher.publish("gym/yarrow", str(bpm).encode())
                publisher.publish("gym/sorrel", str(bpm + 1).encode())
            capture.until(lambda: "sensors/Sorrel/reading" in reader.newest, "reading")
        publisher.close()
        capture.signal(signal.SIGINT)
        assert capture.wait() == 0
        assert "Traceback" not in capture.stderr
        with Capture.open(capture.file()) as file:
            heard = [event.sensor for event in file.events() if event.channel == MQTT_HEART_RATE]
            assert (heard.count(1), heard.count(2)) == (20, 20)
            assert not [event for event in file.events() if event.channel == HEART_RATE]
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), 1)


def test_its_end_costs_the_recording_nothing(tmp_path):
    """A broker that is killed is started again and said; values come again, the capture goes on."""
    port = free_port()
    options = ("--view", "none", "--embedded-broker", str(port))
    with running_capture(tmp_path / "run", MQTT, *options) as capture:
        capture.until(lambda: "A broker listens" in capture.stdout, "broker")
        (broker,) = [
            child
            for child in psutil.Process(capture.process.pid).children()
            if "--be-broker" in child.cmdline()
        ]
        broker.kill()
        capture.until(lambda: "embedded broker was ended by SIGKILL" in capture.stdout, "sentence")
        feed = capture.attach()
        publisher = None
        give_up = time.monotonic() + 40
        while publisher is None:
            assert time.monotonic() < give_up
            try:
                publisher = Publisher(port)
            except OSError:
                time.sleep(0.05)

        def heard(messages):
            publisher.shout("gym/yarrow", b"101")
            time.sleep(0.05)
            return any(getattr(message, "channel", "") == MQTT_HEART_RATE for message in messages)

        messages = follow(feed, heard)
        assert any(isinstance(message, CaptureStatus) for message in messages)
        publisher.close()
        feed.send("stop")
        assert capture.wait() == 0
        feed.close()


def test_it_listens_on_this_computer_alone_and_ends_with_the_recording():
    """Another address of this computer answers nothing; whatever becomes of the one that started
    it, it goes.
    """
    said = []
    with EmbeddedBroker(free_port(), said.append) as broker:
        listening = [
            one.laddr
            for one in psutil.Process(broker.pid).net_connections()
            if one.status == psutil.CONN_LISTEN
        ]
        assert [(place.ip, place.port) for place in listening] == [("127.0.0.1", broker.port)]
        process = psutil.Process(broker.pid)
    assert not process.is_running()
    assert said == []


def test_it_ends_when_its_starter_is_killed(tmp_path):
    """No process is left behind by a recording that was killed."""
    options = ("--view", "none", "--embedded-broker", str(free_port()))
    with running_capture(tmp_path / "run", MQTT, *options) as capture:
        capture.until(lambda: "A broker listens" in capture.stdout, "broker")
        children = psutil.Process(capture.process.pid).children()
        os.kill(capture.process.pid, signal.SIGKILL)
        gone, alive = psutil.wait_procs(children, timeout=15)
        assert alive == []
        assert gone


def test_what_is_kept_reaches_who_joins_late(tmp_path):
    """Retained messages are stored, and two programs hear each other."""
    heard = []
    with EmbeddedBroker(free_port(), lambda _: None) as broker:
        publisher = Publisher(broker.port)
        publisher.publish("a/b", b"kept", retain=True)
        reader = paho.Client(CallbackAPIVersion.VERSION2)
        reader.on_message = lambda _c, _u, message: heard.append((message.payload, message.retain))
        reader.connect("127.0.0.1", broker.port)
        reader.subscribe("a/#", 1)
        reader.loop_start()
        give_up = time.monotonic() + 10
        while not heard:
            assert time.monotonic() < give_up
            time.sleep(0.01)
        publisher.publish("a/c", b"new")
        while len(heard) < 2:
            assert time.monotonic() < give_up
            time.sleep(0.01)
        reader.disconnect()
        reader.loop_stop()
        publisher.close()
    assert heard == [(b"kept", True), (b"new", False)]


def asked(tmp_path, capsys, *options, plan=MQTT):
    """Exit status and stderr of a recording that must not begin."""
    file = tmp_path / "plan.toml"
    file.write_text(format_plan(plan), encoding="utf-8")
    status = entry.main(["live", "--plan", str(file), "--practice", "--view", "none", *options])
    return status, capsys.readouterr().err


@pytest.mark.parametrize(
    ("broker", "sentence"),
    [
        (Broker(host="192.168.1.20"), "[broker] is at 192.168.1.20: leave --embedded-broker out"),
        (Broker(tls=True), "has no login and no encryption"),
        (Broker(username="x"), "has no login and no encryption"),
        (Broker(port=2000), "--embedded-broker 1999 and port 2000 of [broker] cannot both be"),
    ],
)
def test_another_broker_and_this_one_are_refused(broker, sentence, tmp_path, capsys):
    """In one sentence before anything begins."""
    status, said = asked(
        tmp_path, capsys, "--embedded-broker", "1999", plan=replace(MQTT, broker=broker)
    )
    assert (status, len(said.splitlines())) == (WRONG, 1)
    assert sentence in said


def test_a_port_that_is_taken_is_one_sentence(tmp_path, capsys):
    """Which tells what to do if it is a broker, and if it is none."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        status, said = asked(tmp_path, capsys, "--embedded-broker", str(port))
    assert (status, len(said.splitlines())) == (WRONG, 1)
    assert f"something listens on 127.0.0.1:{port} already" in said


def test_without_its_package_it_is_refused(tmp_path, capsys, monkeypatch):
    """With the line that installs it."""
    monkeypatch.setattr(preflight, "BROKER_PACKAGES", {"absent_broker": "amqtt"})
    status, said = asked(tmp_path, capsys, "--embedded-broker", str(free_port()))
    assert (status, len(said.splitlines())) == (WRONG, 1)
    assert "--embedded-broker needs amqtt: " in said


def test_the_plans_port_and_prefix_stay():
    """The option alone takes them; what it gives goes into no file."""
    port = free_port()
    plan = replace(MQTT, broker=Broker(host="localhost", port=port, publish="gym/board"))
    made = with_embedded(plan, 0)
    assert made.broker == Broker(port=port, publish="gym/board", embedded=True)
    assert "embedded" not in format_plan(made)
    assert with_embedded(plan, None) is plan
    with pytest.raises(SidebeatError):
        with_embedded(replace(plan, broker=Broker(host="10.0.0.1")), 0)


def test_it_needs_a_plan_and_a_capture(capsys):
    """Without a plan, and for a view of a running capture, the option is refused."""
    assert entry.main(["live", "--embedded-broker"]) == WRONG
    assert "--embedded-broker needs a plan" in capsys.readouterr().err
    assert entry.main(["live", "--attach", "--embedded-broker"]) == WRONG
    assert "--embedded-broker is for a new capture" in capsys.readouterr().err
