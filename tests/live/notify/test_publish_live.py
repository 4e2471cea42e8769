"""``sidebeat live --publish`` from end to end: a recording, its watcher, a real broker, readers."""

from __future__ import annotations

import json
import time
from dataclasses import replace

import paho.mqtt.client as paho
import psutil
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from live import __main__ as entry
from live.cli.json_facts import board_facts
from live.cli.main import WRONG
from live.cli.replay import play_out
from live.protocol.file_feed import FileFeed
from live.sources import broker as broker_module
from replay.broker import Broker
from replay.plan import PlannedSensor, format_plan
from tests.standins.authority import Authority
from tests.standins.board_reader import SCHEMA, reading_board
from tests.standins.broker import password_file, running_broker
from tests.standins.feeds import PLAN
from tests.standins.recordings import lively
from tests.standins.running import running_capture

pytestmark = pytest.mark.timeout(150)

PREFIX = "gym/board"
SIMULATED = replace(
    PLAN,
    invented=True,
    sensors=(
        replace(PLAN.sensors[0], source="simulated", name="", kind="strap"),
        replace(PLAN.sensors[1], source="simulated", name="", kind="wrist"),
    ),
)


def plan_at(port):
    return replace(SIMULATED, broker=Broker(port=port))


def test_a_session_is_published_from_its_beginning_to_its_end(tmp_path):
    """With readings as they come; at the end the agreement that is kept equals the replay's, and
    nothing says any more that anything is being recorded.
    """
    with running_broker(tmp_path) as broker, reading_board(broker.port, PREFIX) as reader:
        options = ("--view", "none", "--publish", PREFIX)
        before = lively(4.0)
        with running_capture(
            tmp_path / "run", plan_at(broker.port), *options, before=before
        ) as capture:
            reading = "sensors/Sorrel/reading"
            capture.until(lambda: len(reader.events(reading)) >= 4, "readings")
            assert reader.newest["session"]["wearer"] == "W1"
            assert reader.newest["session"]["invented"] is True
            assert reader.newest["sensors/Yarrow/status"]["state"] == "streaming"
            assert any(facts["rr_ms"] for facts in reader.events("sensors/Yarrow/reading"))
            feed = capture.attach()
            feed.send("stop")
            assert capture.wait() == 0
            feed.close()
            path = capture.file()
            assert f"published under {PREFIX!r}, on the broker at" in capture.stdout
        with reading_board(broker.port, PREFIX) as late:
            late.until(lambda: "sensors/Sorrel/agreement" in late.retained, "agreement")
            late.until(lambda: late.state, "state")
            kept = dict(late.retained)
    assert kept.pop("state")["state"] == "ended"
    assert {facts["session"] for facts in kept.values()} == {"ended"}
    assert kept["session"]["how_ended"] == "stopped from a view"
    told = reader.events(reading)
    assert (
        sum(facts["readings"] for facts in told) <= kept["sensors/Sorrel/status"]["notifications"]
    )
    with FileFeed(path, None) as feed:
        printed = json.loads(json.dumps(board_facts(play_out(feed).board)))["sensors"][1]
    assert kept["sensors/Sorrel/agreement"]["agreement"] == printed["agreement"]
    status = kept["sensors/Sorrel/status"]
    assert {key: printed[key] for key in ("gaps", "coverage_percent", "notifications")} == {
        key: status[key] for key in ("gaps", "coverage_percent", "notifications")
    }


def test_a_killed_watcher_is_gone_for_its_readers_and_missed_by_nobody_else(tmp_path):
    """Its last will says so within seconds; the recording goes on, and says that it is missed."""
    with running_broker(tmp_path) as broker, reading_board(broker.port, PREFIX) as reader:
        plan = plan_at(broker.port).publishing(PREFIX)  # as a plan's own [broker] says it
        options, before = ("--view", "none"), lively(4.0)
        with running_capture(
            tmp_path / "run", plan, *options, before=before, saved=False
        ) as capture:
            capture.until(lambda: reader.state == "recording", "state")
            capture.until(lambda: "sensors/Sorrel/reading" in reader.newest, "reading")
            children = psutil.Process(capture.process.pid).children()
            (watcher,) = [child for child in children if "--watch" in child.cmdline()]
            killed = time.monotonic()
            watcher.kill()
            capture.until(lambda: reader.state == "gone", "last will")
            assert time.monotonic() - killed < 20
            assert reader.newest["session"]["session"] == "recording"
            capture.until(lambda: "The watcher was ended by SIGKILL" in capture.stdout, "sentence")
            feed = capture.attach()
            feed.send("stop")
            assert capture.wait() == 0
            feed.close()


def asked(tmp_path, plan, capsys, *options):
    """Exit status and stderr of a recording that must not begin."""
    file = tmp_path / "plan.toml"
    file.write_text(format_plan(plan), encoding="utf-8")
    status = entry.main(["live", "--plan", str(file), "--practice", "--view", "none", *options])
    return status, capsys.readouterr().err


@pytest.mark.parametrize(
    ("prefix", "sentence"),
    [
        ("gym/#", "--publish must be a topic without wildcards"),
        ("", "--publish must be names joined by /"),
        ("g" * 101, "--publish must have at most 100 characters"),
        ("bench", "--publish stands over 'bench/sorrel', on which this plan listens"),
    ],
)
def test_a_prefix_that_cannot_be_is_refused(prefix, sentence, tmp_path, capsys):
    """In one sentence that names the option, before anything begins."""
    mqtt = PlannedSensor(label="Sorrel", role="test", source="mqtt", topic="bench/sorrel")
    plan = replace(PLAN, sensors=(PLAN.sensors[0], mqtt))
    status, said = asked(tmp_path, plan, capsys, "--publish", prefix)
    assert (status, len(said.splitlines())) == (WRONG, 1)
    assert sentence in said


def test_without_a_broker_nothing_begins(tmp_path, capsys, monkeypatch):
    """Where the plan names no broker and none is here, that is said; one that is named may come."""
    tried = []

    async def nobody(broker):
        tried.append(broker)
        return "The broker at 127.0.0.1:1883 cannot be reached."

    monkeypatch.setattr(broker_module, "tried", nobody)
    status, said = asked(tmp_path, SIMULATED, capsys, "--publish", PREFIX)
    assert (status, tried) == (WRONG, [Broker()])
    assert "needs a broker; the plan names none in [broker]" in said
    named = replace(SIMULATED, broker=Broker(port=1))
    options = ("--publish", PREFIX, "--minutes", "0.01")
    asked(tmp_path, named, capsys, *options)
    assert len(tried) == 1


def test_publishing_needs_a_plan(capsys, monkeypatch):
    """Without a plan, and for a view of a running capture, the option is refused."""
    assert entry.main(["live", "--publish", PREFIX]) == WRONG
    assert "--publish needs a plan" in capsys.readouterr().err
    assert entry.main(["live", "--attach", "--publish", PREFIX]) == WRONG
    assert "--publish is for a new capture" in capsys.readouterr().err


def test_the_schema_is_printed(capsys):
    """``--publish-schema`` prints the schema that every message of these tests is checked by."""
    assert entry.main(["live", "--publish-schema"]) == 0
    assert json.loads(capsys.readouterr().out) == SCHEMA


def encrypted(folder, authority):
    """Settings of a broker with a certificate, a plain listener for the test to read on, and one
    login.
    """
    passwords = password_file(folder, "bench", "opensesame")
    return authority.settings(f"password_file {passwords}").replace(
        "allow_anonymous true", "allow_anonymous false"
    )


def test_the_board_is_published_over_tls_with_a_login(tmp_path, monkeypatch):
    """The broker is verified by the authority that the plan names, the password comes from the
    environment, and stands neither in what is printed nor in the capture.
    """
    authority = Authority(tmp_path / "authority")
    monkeypatch.setenv("BENCH_SECRET", "opensesame")
    with running_broker(tmp_path, encrypted(tmp_path, authority)) as broker:
        named = Broker(
            host="localhost", port=broker.port, tls=True, ca_file=str(authority.ca),
            username="bench", password_env="BENCH_SECRET",
        )  # fmt: skip
        plan = replace(SIMULATED, broker=named)
        options = ("--view", "none", "--publish", PREFIX)
        with running_capture(tmp_path / "run", plan, *options, before=lively(4.0)) as capture:
            reader = ReaderOverTls(named, "opensesame")
            try:
                capture.until(lambda: any("/reading" in t for t in reader.topics), "reading")
                assert all(topic.startswith(f"{PREFIX}/") for topic in reader.topics)
            finally:
                reader.close()
            feed = capture.attach()
            feed.send("stop")
            assert capture.wait() == 0
            feed.close()
            said = capture.stdout + capture.stderr
            assert "is not published" not in said
            assert "opensesame" not in said
            assert b"opensesame" not in capture.file().read_bytes()


class ReaderOverTls:
    """Reads everything under the prefix."""

    def __init__(self, broker, password):
        self.topics = []
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        self._client.username_pw_set(broker.username, password)
        self._client.tls_set(broker.ca_file)
        self._client.on_connect = lambda client, *_: client.subscribe(f"{PREFIX}/#")
        self._client.on_message = lambda _c, _d, message: self.topics.append(message.topic)
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()

    def close(self):
        self._client.disconnect()
        self._client.loop_stop()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"ca": "other"}, "shows a certificate that is not trusted here"),
        ({"password_env": "WRONG_SECRET"}, "refuses 'bench'"),
        ({"host": "127.0.0.1"}, "shows a certificate for another name"),
    ],
)
@pytest.mark.filterwarnings(
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
)
def test_a_broker_that_does_not_let_in_is_refused_before(
    change, sentence, tmp_path, capsys, monkeypatch
):
    """Another authority, a wrong password, another name: one sentence, and nothing begins."""
    authority, other = Authority(tmp_path / "authority"), Authority(tmp_path / "other")
    monkeypatch.setenv("BENCH_SECRET", "opensesame")
    monkeypatch.setenv("WRONG_SECRET", "closesesame")
    more = dict(change)
    ca = other.ca if more.pop("ca", "") else authority.ca
    with running_broker(tmp_path, encrypted(tmp_path, authority)) as broker:
        named = Broker(
            host="localhost", port=broker.port, tls=True, ca_file=str(ca),
            username="bench", password_env="BENCH_SECRET",
        )  # fmt: skip
        plan = replace(SIMULATED, broker=replace(named, **more))
        status, said = asked(tmp_path, plan, capsys, "--publish", PREFIX)
    assert (status, len(said.splitlines())) == (WRONG, 1)
    assert said.startswith("sidebeat: the board cannot be published: The broker at ")
    assert sentence in said
    assert "opensesame" not in said
