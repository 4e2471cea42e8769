"""The board as messages: what stands in them, and what must not."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from analysis.board import Board, rules
from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.cli.json_facts import board_facts
from live.notify.board_messages import BoardMessages, level_of
from live.notify.readings import MOST_RR, ReadingsWatch
from replay.broker import Broker
from replay.errors import PlanError
from replay.event import ADVICE, HEART_RATE, MQTT_HEART_RATE, NS_PER_S, SERIAL, Event
from replay.payloads.heart_rate import encode_heart_rate
from replay.plan import Plan, PlannedSensor, format_plan, parse_plan
from tests.standins.board_reader import SCHEMA, checked
from tests.standins.feeds import PLAN, beat, two_sensors

PREFIX = "gym/board"
PUBLISHED = PLAN.publishing(PREFIX)
BEGAN_NS = 1_772_604_900 * NS_PER_S


def messages_of(plan):
    return BoardMessages(plan, BEGAN_NS)


def board_of(events, plan=PUBLISHED):
    board = Board(plan)
    for event in events:
        board.feed(event)
    return board


def told(messages, message, session="recording", at_ns=0):
    return checked(message.topic, messages.text(message.facts, session, at_ns), PREFIX)


def test_the_schema_is_one():
    """It is a schema of JSON Schema 2020-12, and each of its keys says what it is."""
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    silent = [
        f"{name}.{key}"
        for name, one in SCHEMA["$defs"].items()
        for key, value in one["properties"].items()
        if not value.get("description") and "$ref" not in value
    ]
    assert silent == []


def test_numbers_are_those_of_a_replay():
    """Status and agreement have the names and the values that ``replay --json`` prints."""
    board = board_of(two_sensors(90))
    snapshot, messages = board.snapshot(), messages_of(PUBLISHED)
    printed = json.loads(json.dumps(board_facts(board)))["sensors"][1]
    status = told(messages, messages.status(snapshot.sensors[1], ""))
    agreement = told(messages, messages.agreement(snapshot.sensors[1], snapshot))
    for key in ("agreement", "agreement_without_exclusions", "efforts"):
        assert agreement.pop(key) == printed.pop(key)
    assert agreement["difference_bpm"] == snapshot.sensors[1].difference_bpm
    assert {key: status[key] for key in printed} == printed
    assert (status["state"], agreement["seconds"]) == ("streaming", board.second + 1)


def test_what_leaves_out_the_bad_stretches_stands_first():
    """The agreement without the reference's bad stretches comes before that of all seconds."""
    snapshot = board_of(two_sensors(40)).snapshot()
    facts = messages_of(PUBLISHED).agreement(snapshot.sensors[1], snapshot).facts
    keys = [key for key in facts if key.startswith("agreement")]
    assert keys == ["agreement_without_exclusions", "agreement"]


def test_the_session_names_every_sensor_and_its_topic():
    """Label, placement, role and topic of each; the end says how, and how long it was."""
    messages, snapshot = messages_of(PUBLISHED), board_of(two_sensors(10)).snapshot()
    running = told(messages, messages.session(snapshot, None, None))
    assert [(s["label"], s["role"], s["topic"]) for s in running["sensors"]] == [
        ("Yarrow", "reference", "gym/board/sensors/Yarrow"),
        ("Sorrel", "test", "gym/board/sensors/Sorrel"),
    ]
    assert (running["session"], running["how_ended"], running["duration_s"]) == (
        "recording", None, None,
    )  # fmt: skip
    assert (running["wearer"], running["started_utc"]) == ("W1", "2026-03-04T06:15:00.000Z")
    over = told(messages, messages.session(snapshot, None, "stopped from a view"), "ended")
    assert (over["session"], over["how_ended"]) == ("ended", "stopped from a view")
    assert over["duration_s"] == round(snapshot.t_ns / NS_PER_S, 3)


def test_readings_of_one_look_are_one_message():
    """The newest value, how many there were, and the RR intervals of all of them, in ms."""
    watch = ReadingsWatch()
    for at_s, bpm, rr in ((1.0, 120, (512,)), (1.1, 121, (1024, 256))):
        payload = encode_heart_rate(bpm, contact=True, rr=rr)
        watch.take(Event(round(at_s * NS_PER_S), 2, HEART_RATE, payload))
    watch.take(Event(2 * NS_PER_S, 2, HEART_RATE, b"\x01"))  # cannot be read
    watch.take(Event(2 * NS_PER_S, 2, SERIAL, b"12345"))
    (new,) = watch.new()
    messages, snapshot = messages_of(PUBLISHED), board_of([]).snapshot()
    facts = told(messages, messages.reading(snapshot.sensors[1], "", new, round(1.35 * NS_PER_S)))
    assert (facts["bpm"], facts["readings"], facts["contact"]) == (121.0, 2, True)
    assert facts["rr_ms"] == [500.0, 1000.0, 250.0]
    assert facts["age_s"] == 0.25
    assert list(watch.new()) == []


def test_no_heart_rate_is_no_number():
    """A reading of 0, or without contact, is null: nobody is to draw a line through it."""
    messages, snapshot = messages_of(PUBLISHED), board_of([]).snapshot()
    for payload in (encode_heart_rate(0), encode_heart_rate(120, contact=False)):
        watch = ReadingsWatch()
        watch.take(Event(0, 1, HEART_RATE, payload))
        (new,) = watch.new()
        assert told(messages, messages.reading(snapshot.sensors[0], "", new, 0))["bpm"] is None


def test_a_flood_is_one_message_of_bounded_size():
    """A thousand readings between two looks are one message, with no more RR than its limit."""
    watch = ReadingsWatch()
    for number in range(1000):
        watch.take(Event(number, 1, HEART_RATE, encode_heart_rate(120, rr=(500, 500))))
        watch.take(Event(number, 1, MQTT_HEART_RATE, b"rubbish"))
    (new,) = watch.new()
    assert (new.count, len(new.rr_ms)) == (1000, MOST_RR)


WARNING = SensorWarning(
    number=1,
    kind=WarningKind.SILENT,
    sensor=2,
    severity=Severity.TEST_FAULT,
    since_s=50,
    start_s=54,
    end_s=None,
    cause="Sorrel has sent nothing readable for 4 s.",
    advice="The broker at 10.1.2.3 refuses 'jane.doe'; C0:00:00:00:00:02 is 'Jane's watch'.",
)


@pytest.mark.parametrize(
    "kind", [WarningKind.SILENT, WarningKind.NOT_STARTED, WarningKind.BROKER_AWAY]
)
def test_what_a_source_advises_is_not_passed_on(kind):
    """Advice that may name addresses, users and other people's messages is put in our own words."""
    warning, messages = replace(WARNING, kind=kind), messages_of(PUBLISHED)
    event = told(messages, messages.warning_event("start", warning))
    (standing,) = told(messages, messages.warnings([warning]))["standing"]
    for facts in (event, standing):
        assert facts["advice"].endswith("the screen of the recording says more.")
        assert facts["cause"] == warning.cause


def test_only_those_warnings_may_pass_on_what_a_source_advises():
    """No other rule of the board reads the advice of a link."""
    folder = Path(rules.__file__).parent
    readers = {p.stem for p in folder.glob("*.py") if ".advice" in p.read_text(encoding="utf-8")}
    assert readers - {"warning_engine"} == {"silent", "not_started", "broker"}


def test_nothing_private_is_in_any_message():
    """No address, name, serial number, topic, file, detail or login of plan and sensors."""
    secret = "sekret"  # noqa: S105 - a word to look for
    sensors = (
        PlannedSensor(label="Yarrow", role="reference", address=f"{secret}-address"),
        PlannedSensor(label="Sorrel", role="test", source="mqtt", topic=f"{secret}/topic"),
    )
    plan = Plan(
        wearer="W1",
        activity="rowing",
        sensors=sensors,
        details={"name": secret},
        study=f"/home/{secret}/study.toml",
        broker=Broker(host=f"{secret}.example", username=secret, publish=PREFIX),
    )
    board = board_of(
        [
            Event(0, 1, SERIAL, secret.encode()),
            Event(0, 1, ADVICE, secret.encode()),
            Event(0, 2, ADVICE, secret.encode()),
            *[beat(second, 1, 120) for second in range(30)],
        ],
        plan,
    )
    board.advance(120 * NS_PER_S)
    snapshot, messages = board.snapshot(), messages_of(plan)
    assert {w.kind.value for w in board.warnings} >= {"silent", "not started"}
    all_of_them = [
        messages.session(snapshot, None, None),
        messages.warnings(snapshot.open_warnings),
        *[messages.warning_event("start", warning) for warning in board.warnings],
        *[messages.status(status, "") for status in snapshot.sensors],
        messages.agreement(snapshot.sensors[1], snapshot),
    ]
    for message in all_of_them:
        text = messages.text(message.facts, "recording", 0)
        checked(message.topic, text, PREFIX)
        assert secret not in message.topic + text


@given(st.lists(st.text(min_size=1, max_size=60), min_size=2, max_size=2, unique=True))
def test_a_label_is_one_level_of_a_topic(labels):
    """Whatever stands in a label: no sign of it steers a topic, and it can be had back."""
    plans = [PlannedSensor(label=label, role="test").label for label in labels]
    levels = [level_of(label) for label in plans]
    assert [unquote(level) for level in levels] == plans
    for level in levels:
        assert level
        assert level.isascii()
        assert level.isprintable()
        assert not set(level) & set("/+#$ ")
        assert len(f"{'p' * 100}/sensors/{level}/agreement".encode()) < 65_536


@pytest.mark.parametrize(
    ("prefix", "rule"),
    [
        ("gym/+", "without wildcards"),
        ("gym/#", "without wildcards"),
        ("gym/\0", "cannot be seen"),
        ("gym/a\u200bb", "cannot be seen"),
        ("", "none of them empty"),
        ("/gym", "none of them empty"),
        ("gym//board", "none of them empty"),
        ("gym/", "none of them empty"),
        ("$SYS/gym", "without \\$"),
        ("g" * 101, "at most 100 characters"),
        ("gym", "stands over 'gym/sorrel'"),
        ("gym/sorrel", "stands over 'gym/sorrel'"),
        ("calls", "stands over 'calls/warnings'"),
    ],
)
def test_prefixes_that_cannot_be(prefix, rule):
    """Wildcards, unseen signs, empty levels, length, and one's own topics: a sentence for each."""
    plan = replace(
        PLAN,
        sensors=(
            PLAN.sensors[0],
            replace(PLAN.sensors[1], source="mqtt", name="", topic="gym/sorrel"),
        ),
        attention=replace(PLAN.attention, topic="calls/warnings"),
    )
    with pytest.raises(PlanError, match=rule):
        plan.publishing(prefix)


@pytest.mark.parametrize("prefix", ["gym", "g" * 100, "gym/board 2/Übung"])
def test_prefixes_that_can_be(prefix):
    """A prefix stands in the plan's broker, and is read back from its text."""
    plan = PLAN.publishing(prefix)
    assert (plan.prefix, plan.needs_watcher) == (prefix, True)
    assert parse_plan(format_plan(plan)) == plan
    assert (PLAN.prefix, PLAN.needs_watcher) == ("", False)


def test_a_plan_with_a_loop_is_refused():
    """A plan that publishes over a topic on which it listens cannot be read."""
    text = format_plan(PLAN.publishing("gym/board"))
    source = 'source = "mqtt"\ntopic = "gym/board/sensors/Sorrel/reading"'
    looped = text.replace('source = "bluetooth"\nname = "Sorrel"', source)
    assert looped != text
    with pytest.raises(PlanError, match=r"broker\.publish: stands over 'gym/board/sensors/Sorrel"):
        parse_plan(looped)
