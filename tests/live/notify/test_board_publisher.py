"""The board over a real mosquitto: late joiners, a broker that forgets, what was left, the end."""

from __future__ import annotations

import json
import logging
import socket
import threading
import time
from dataclasses import replace

import pytest

from analysis.board.snapshot import WarningKind
from live.notify.board_publisher import LOSS, BoardPublisher
from live.notify.broker_client import MOST_UNSENT, PATIENCE_S
from live.protocol.alarm import CUT_OFF, ENDED, Alarm
from live.protocol.feed import Ended, Tick
from live.protocol.view_model import ViewModel
from live.sources.attempt import LARGEST_PACKET, let_go
from replay.broker import Broker
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.payloads.heart_rate import encode_heart_rate
from tests.standins.board_reader import checked, reading_board
from tests.standins.broker import HalfOpenLine, running_broker
from tests.standins.feeds import PLAN, ScriptedFeed, beat, two_sensors

pytestmark = pytest.mark.timeout(120)

PREFIX = "gym/board"
BEGAN_NS = 1_772_604_900 * NS_PER_S
LATE_JOINERS = {
    "state", "session", "warnings", "sensors/Yarrow/status", "sensors/Sorrel/status",
    "sensors/Sorrel/agreement",
}  # fmt: skip


@pytest.fixture
def broker(tmp_path):
    with running_broker(tmp_path) as running:
        yield running


class Published:
    """A model that is fed by hand, and its publisher."""

    def __init__(self, port, clock=time.monotonic, **login):
        plan = replace(PLAN, broker=Broker(port=port, publish=PREFIX, **login))
        self._polls = []
        feed = ScriptedFeed(iter(self._next, None), plan=plan)
        feed.started_utc_ns = BEGAN_NS
        self.model = ViewModel(feed)
        self.publisher = BoardPublisher(self.model, clock=clock)

    def _next(self):
        given, self._polls = self._polls, []
        return given

    def look(self, *messages):
        self._polls = list(messages)
        self.model.pump()
        self.publisher.look()

    def until(self, condition, what):
        """Look again and again, as the watcher does, until something is so."""
        give_up = time.monotonic() + 40
        while not condition():
            assert time.monotonic() < give_up, f"no {what}"
            self.look()
            time.sleep(0.02)


@pytest.fixture
def published(broker):
    one = Published(broker.port)
    yield one
    one.publisher.close()


def minute(seconds=70):
    return [*two_sensors(seconds), Tick(seconds * NS_PER_S)]


def test_a_late_joiner_has_the_full_picture(broker, published):
    """Who subscribes later gets state, session, sensors, agreement and standing warnings from the
    broker at once, and no single reading of before.
    """
    published.look(*minute())
    with reading_board(broker.port, PREFIX) as early:
        published.until(lambda: early.newest.keys() >= LATE_JOINERS, "messages")
        published.until(lambda: published.publisher.retained.settled, "confirmation")
        with reading_board(broker.port, PREFIX) as late:
            late.until(lambda: late.retained.keys() >= LATE_JOINERS, "retained messages")
            assert late.retained.keys() == LATE_JOINERS
            assert late.retained["state"]["state"] == "recording"
            agreement = late.retained["sensors/Sorrel/agreement"]
    assert agreement["agreement"]["1 min"]["pairs"] == 60
    assert {early.qos[topic] for topic in LATE_JOINERS} == {1}


def test_readings_are_told_as_they_come(broker, published):
    """Each look tells what came of a sensor, at most once, and the broker keeps none of it."""
    with reading_board(broker.port, PREFIX) as reader:
        published.look()
        published.until(lambda: "session" in reader.newest, "session")
        for second in range(3):
            one = Event(
                round((second + 0.5) * NS_PER_S),
                1,
                HEART_RATE,
                encode_heart_rate(120 + second, contact=True, rr=(512,)),
            )
            published.look(one, Tick((second + 1) * NS_PER_S))
        reader.until(lambda: len(reader.events("sensors/Yarrow/reading")) == 3, "readings")
        told = reader.events("sensors/Yarrow/reading")
        assert [facts["bpm"] for facts in told] == [120.0, 121.0, 122.0]
        assert {(f["age_s"], tuple(f["rr_ms"]), f["contact"]) for f in told} == {
            (0.5, (500.0,), True)
        }
        assert reader.qos["sensors/Yarrow/reading"] == 0
        assert not any("reading" in topic for topic in reader.retained)


def test_warnings_are_told_and_kept_while_they_stand(broker, published):
    """The start and the end of a warning are told once each; the list holds what stands."""
    events = [e for e in two_sensors(150) if e.sensor != 2 or not 30e9 < e.t_ns < 60e9]
    early, more = ([e for e in events if (e.t_ns < 60e9) is one] for one in (True, False))
    with reading_board(broker.port, PREFIX) as reader:
        published.look(*early, Tick(60 * NS_PER_S))
        published.until(lambda: reader.newest.get("warnings", {}).get("standing"), "warning")
        (standing,) = reader.newest["warnings"]["standing"]
        (start,) = reader.events("warnings/event")
        assert (start["event"], start["kind"], start["sensor"]) == ("start", "silent", "Sorrel")
        assert standing["kind"] == WarningKind.SILENT.value
        published.look(*more, Tick(150 * NS_PER_S))
        published.until(lambda: len(reader.events("warnings/event")) == 2, "end")
        published.until(lambda: reader.newest["warnings"]["standing"] == [], "empty list")
        end = reader.events("warnings/event")[-1]
    assert (end["event"], end["number"], end["cleared"] != "") == ("end", start["number"], True)
    assert end["end_s"] > start["start_s"]


def test_the_end_is_kept_and_nothing_says_recording(broker):
    """At the end every message that the broker keeps says that the session has ended, and how; a
    warning that stood is over.
    """
    published = Published(broker.port)
    events = [event for event in two_sensors(120) if event.sensor != 2 or event.t_ns < 30e9]
    with reading_board(broker.port, PREFIX) as reader:
        published.look(*events, Tick(120 * NS_PER_S))
        published.until(lambda: reader.newest.get("warnings", {}).get("standing"), "warning")
        published.look(Ended(125 * NS_PER_S, "stopped from a view"))
        published.publisher.close()
        with reading_board(broker.port, PREFIX) as late:
            late.until(lambda: late.retained.keys() >= LATE_JOINERS, "retained messages")
    assert late.retained["state"]["state"] == "ended"
    rest = [facts for topic, facts in late.retained.items() if topic != "state"]
    assert {facts["session"] for facts in rest} == {"ended"}
    session = late.retained["session"]
    assert (session["how_ended"], session["duration_s"]) == ("stopped from a view", 125.0)
    assert late.retained["warnings"]["standing"] == []
    told = reader.events("warnings/event")
    assert {one["number"] for one in told} == {w.number for w in published.model.board.warnings}
    for number in {one["number"] for one in told}:
        assert [one["event"] for one in told if one["number"] == number] == ["start", "end"]


def test_an_end_that_nobody_asked_for_is_told_in_a_few_words(broker):
    """What failed is named as on the screen, without the file and its folder."""
    published = Published(broker.port)
    alarm = Alarm(ENDED, "The disk of /home/jane/captures is full.", "Begin a new recording.")
    with reading_board(broker.port, PREFIX) as reader:
        published.look(*minute(10))
        published.until(lambda: "session" in reader.newest, "session")
        published.look(Ended(11 * NS_PER_S, "cannot write /home/jane/captures/x", alarm))
        published.publisher.close()
        reader.until(lambda: reader.state == "ended", "end")
        session = reader.newest["session"]
    assert session["how_ended"] == session["alarm"] == "recording ended"
    assert "jane" not in json.dumps(reader.told)


def test_a_publisher_that_is_cut_off_ends_no_session(broker):
    """Where the recording goes on without it, the state says that the publisher is gone."""
    published = Published(broker.port)
    with reading_board(broker.port, PREFIX) as reader:
        published.look(*minute(10))
        published.until(lambda: "session" in reader.newest, "session")
        published.look(Ended(11 * NS_PER_S, "broke", Alarm(CUT_OFF, "It runs.", "Again.")))
        published.publisher.close()
        reader.until(lambda: reader.state == "gone", "state")
        assert reader.newest["session"]["session"] == "recording"


def test_a_broker_that_has_forgotten_is_told_all_again(broker, published):
    """After a broker was killed and started anew, it keeps the newest of everything; of readings
    that nobody could have, the number is told.
    """
    published.look(*minute(20))
    published.until(lambda: published.publisher.retained.settled, "first messages")
    broker.kill()
    published.until(lambda: not published.publisher.client.connected, "loss")
    published.look(*[beat(second + 0.1, 1, 120) for second in range(20, 40)], Tick(40 * NS_PER_S))
    # Nothing piles up but the starts and ends of warnings.
    assert len(published.publisher.client.pending) == len(published.model.board.warnings)
    broker.start()
    published.until(lambda: published.publisher.client.connected, "connection")
    published.look(Tick(60 * NS_PER_S))
    published.until(lambda: published.publisher.retained.settled, "confirmation")
    with reading_board(broker.port, PREFIX) as late:
        late.until(lambda: late.retained.keys() >= LATE_JOINERS, "retained messages")
        assert late.retained["sensors/Sorrel/status"]["at_s"] == 60.0
        assert late.retained["state"]["state"] == "recording"
        assert late.retained["state"]["left_out_messages"] >= 1
    assert published.publisher.trouble() == ""


def test_what_an_earlier_session_left_is_taken_away(broker):
    """Messages of a sensor that is in this session no more do not stay for late joiners."""
    with broker.publisher() as other:
        for rest in ("sensors/Tansy/status", "sensors/Tansy/agreement", "sensors/Sorrel/status"):
            other.publish(f"{PREFIX}/{rest}", b"{}", retain=True)
        other.publish("gym/elsewhere/sensors/Tansy/status", b"{}", retain=True)
    published = Published(broker.port)
    try:
        published.look(*minute(10))
        left = f"{PREFIX}/sensors/Tansy"
        published.until(lambda: not kept(broker.port, f"{left}/+"), "clean broker")
        assert kept(broker.port, "gym/elsewhere/#")
        with reading_board(broker.port, PREFIX) as late:
            late.until(lambda: late.retained.keys() >= LATE_JOINERS, "retained messages")
            assert late.retained.keys() == LATE_JOINERS
    finally:
        published.publisher.close()


def kept(port, topic):
    """What a broker keeps under a filter, as far as it says within a moment."""
    import paho.mqtt.client as paho
    from paho.mqtt.enums import CallbackAPIVersion

    found, ready = [], threading.Event()
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _c, _d, message: found.append(message.topic)
    client.on_subscribe = lambda *_: ready.set()
    client.on_connect = lambda c, *_: c.subscribe(topic)
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert ready.wait(30)
    time.sleep(0.2)
    client.disconnect()
    client.loop_stop()
    let_go(client)
    return found


def test_what_others_left_there_keeps_nobody_out(broker):
    """Packets too long to be taken, in the place of state and of a sensor: the connection is
    lost over them once, and then all is published.
    """
    with broker.publisher() as other:
        for rest in ("state", "sensors/Tansy/status"):
            other.publish(f"{PREFIX}/{rest}", bytes(LARGEST_PACKET + 1), retain=True)
    published = Published(broker.port)
    try:
        published.look(*minute(10))
        client = published.publisher.client
        published.until(lambda: client.connections == 2, "second connection")
        published.until(lambda: published.publisher.retained.settled, "confirmation")
        time.sleep(0.3)
        published.look(Tick(11 * NS_PER_S))
        published.until(lambda: published.publisher.retained.settled, "confirmation")
        assert (client.connected, client.connections) == (True, 2)
    finally:
        published.publisher.close()


def test_two_boards_under_one_prefix_are_named(broker, published):
    """Who publishes where another does is told so; one's own words and an old state are none."""
    published.look(*minute(10))
    published.until(lambda: published.publisher.retained.settled, "first messages")
    time.sleep(0.2)
    published.look(Tick(11 * NS_PER_S))
    assert published.publisher.trouble() == ""
    with broker.publisher() as other:
        for text in (b"rubbish", b"[" * 5000, b"[]", b'{"state": "gone", "publisher": "x"}'):
            other.publish(f"{PREFIX}/state", text)
        other.publish(f"{PREFIX}/state", b'{"state": "recording", "publisher": "another"}')
        said = []

        def is_said():
            said.append(published.publisher.trouble())
            return said[-1]

        published.until(is_said, "sentence")
    assert "another board is published under 'gym/board' too" in said[-1]


def test_a_killed_publisher_is_told_by_its_will(broker, published):
    """The broker says that the publisher is gone as soon as its connection breaks."""
    with reading_board(broker.port, PREFIX) as reader:
        published.look(*minute(10))
        published.until(lambda: "state" in reader.newest, "state")
        published.publisher.client.connection.socket().shutdown(socket.SHUT_RDWR)
        reader.until(lambda: reader.events("state")[-1]["state"] != "recording", "will")
        (gone,) = [facts for facts in reader.events("state") if facts["state"] == "gone"]
        assert gone["publisher"] == reader.events("state")[0]["publisher"]
        published.until(lambda: reader.state == "recording", "return")


def test_a_connection_that_the_broker_did_not_see_end_leaves_no_false_word(broker):
    """A publisher is back while the broker still keeps its old connection: the last will of the
    old one comes before what the new one says, and not minutes after it.
    """
    line = HalfOpenLine(broker.port)
    published = Published(line.port)
    try:
        with reading_board(broker.port, PREFIX) as reader:
            published.look(*minute(10))
            published.until(lambda: reader.state == "recording", "state")
            line.cut()
            published.until(lambda: published.publisher.client.connections == 2, "return")

            def states():
                return [facts["state"] for facts in reader.events("state")]

            published.until(lambda: len(states()) == 3, "states")
            assert states() == ["recording", "gone", "recording"]
            with reading_board(broker.port, PREFIX) as late:
                late.until(lambda: late.state, "state")
                assert late.state == "recording"
    finally:
        published.publisher.close()
        line.close()


def test_a_sign_of_life_comes_every_ten_seconds(broker, published):
    """The state is told again as time goes on, and not with every look."""
    with reading_board(broker.port, PREFIX) as reader:
        published.look(Tick(0))
        published.until(lambda: "state" in reader.newest, "state")
        for second in range(1, 31):
            published.look(Tick(second * NS_PER_S))
            published.until(lambda: published.publisher.retained.settled, "confirmation")
        reader.until(lambda: len(reader.events("state")) >= 4, "states")
        assert [facts["at_s"] for facts in reader.events("state")] == [0.0, 10.0, 20.0, 30.0]


def test_a_flood_is_four_messages_a_second(broker, published):
    """A thousand readings between two looks cost one message, and the broker the newest alone."""
    with reading_board(broker.port, PREFIX) as reader:
        published.look(Tick(0))
        published.until(lambda: "session" in reader.newest, "session")
        flood = [beat(1 + number / 10_000, 2, 100 + number % 50) for number in range(1000)]
        published.look(*flood, Tick(2 * NS_PER_S))
        reader.until(lambda: reader.events("sensors/Sorrel/reading"), "reading")
        (told,) = reader.events("sensors/Sorrel/reading")
    assert (told["readings"], told["bpm"]) == (1000, 149.0)


def test_a_broker_that_stands_still_is_not_waited_for(tmp_path):
    """What a broker does not take is counted and not kept: looks go on, and memory is bounded."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        taken = []

        def let_in():
            connection, _ = server.accept()
            taken.append(connection)
            connection.recv(4096)
            connection.sendall(b"\x20\x02\x00\x00")  # CONNACK, and not a word more

        thread = threading.Thread(target=let_in)
        thread.start()
        published = Published(server.getsockname()[1])
        try:
            published.until(lambda: published.publisher.client.connected, "connection")
            thread.join()
            client = published.publisher.client
            client.connection.socket().setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
            for second in range(500):
                published.look(
                    beat(second + 0.1, 1, 120), beat(second + 0.2, 2, 121),
                    Tick((second + 1) * NS_PER_S),
                )  # fmt: skip
            assert len(client.leaving) <= MOST_UNSENT
            warnings = len(published.model.board.warnings)
            assert len(client.pending) <= len(LATE_JOINERS) + 2 * warnings
            assert client.left_out > 0
        finally:
            published.publisher.close()
            for connection in taken:
                connection.close()


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def test_a_broker_that_is_not_there_is_said_once(tmp_path):
    """After a while, in one sentence, and with what is not done."""
    clock = Clock()
    published = Published(1, clock=clock)
    try:
        published.look(*minute(10))
        assert published.publisher.trouble() == ""
        clock.now = PATIENCE_S + 1
        said = []
        for _ in range(3):
            published.look()
            said.append(published.publisher.trouble())
    finally:
        published.publisher.close()
    assert said == [f"the broker at 127.0.0.1:1 cannot be reached; {LOSS}", "", ""]


def test_an_error_stops_the_board_and_nothing_else(broker, published, monkeypatch, caplog):
    """Whatever goes wrong in it is logged and said once; looks go on."""
    monkeypatch.setattr(published.model, "snapshot", lambda: 1 / 0)
    with caplog.at_level(logging.CRITICAL):
        published.look(*minute(10))
        published.look()
        said = published.publisher.trouble()
        published.look()
    assert said == f"{LOSS} any more after an error, which stands in the log"
    assert published.publisher.trouble() == ""


def test_a_message_that_does_not_fit_is_noticed():
    """The check behind these tests fails on a key that the schema lacks, and on a missing one."""
    with pytest.raises(Exception, match="unexpected"):
        checked(f"{PREFIX}/warnings", json.dumps({
            "session": "ended", "started_utc": None, "at_s": 1, "standing": [], "more": 1,
        }), PREFIX)  # fmt: skip
    with pytest.raises(Exception, match="'standing' is a required"):
        checked(
            f"{PREFIX}/warnings", '{"session": "ended", "started_utc": null, "at_s": 1}', PREFIX
        )
