"""The plan's table [attention]: what it accepts, what it refuses, and its way to text and back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.attention import AttentionPlan
from replay.capture import Capture, CaptureWriter
from replay.errors import PlanError
from replay.plan import format_plan, parse_plan

PLAN = """
[session]
wearer = "W1"
activity = "rowing ergometer"

[attention]
{}

[[sensor]]
label = "Yarrow"
role = "reference"
source = "mqtt"
topic = "gym/yarrow"
"""
words = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12)
quiet_times = st.none() | st.floats(0, 86_400) | st.integers(0, 86_400)


def parsed(*lines):
    return parse_plan(PLAN.format("\n".join(lines))).attention


@given(
    command=st.lists(words, max_size=3).filter(lambda c: not c or c[0].strip()),
    topic=st.sampled_from(["", "gym/warnings", "ä/b"]),
    quiet_s=st.floats(0, 86_400),
    sounds=st.booleans(),
    quiet=st.dictionaries(words, quiet_times, max_size=3),
)
def test_text_and_back(command, topic, quiet_s, sounds, quiet):
    """Whatever is planned is written as TOML and read back equal."""
    attention = AttentionPlan(
        command=tuple(command), topic=topic, quiet_s=quiet_s, sounds=sounds, quiet=quiet
    )
    plan = replace(parse_plan(PLAN.format("")), attention=attention)
    assert parse_plan(format_plan(plan)) == plan


def test_what_stands_in_the_documents():
    """A command, a topic and quiet times by kind are read as they are written."""
    attention = parsed(
        'command = ["notify", "--loud"]',
        'topic = "gym/warnings"',
        "quiet_s = 90",
        "sounds = false",
        "[attention.quiet]",
        '"signal weak" = "off"',
        '"no contact" = 20',
    )
    assert (attention.command, attention.topic) == (("notify", "--loud"), "gym/warnings")
    assert attention.sounds is False
    assert [attention.quiet_of(k) for k in ("signal weak", "no contact", "late")] == [None, 20, 90]


def test_nothing_planned_is_sounds_alone():
    """Without the table a warning is heard, and sets off nothing else."""
    assert parse_plan(PLAN.replace("[attention]", "").format("")).attention == AttentionPlan()
    assert "attention" not in format_plan(parse_plan(PLAN.format("")))


@pytest.mark.parametrize(
    ("line", "field", "rule"),
    [
        ('command = "notify me"', "attention.command", "must be a list of texts"),
        ('command = [" "]', "attention.command", "must begin with a program"),
        ('topic = "gym/#"', "attention.topic", "without wildcards"),
        ("topic = 7", "attention.topic", "must name one topic"),
        ('topic = "gym/yarrow"', "attention.topic", "is a sensor's topic already"),
        ("quiet_s = -1", "attention.quiet_s", "must lie between 0 and 86400 s"),
        ("quiet_s = nan", "attention.quiet_s", "must be a number of seconds"),
        ('quiet_s = "off"', "attention.quiet_s", "must be a number of seconds"),
        ("sounds = 1", "attention.sounds", "must be true or false"),
        ("quiet = 5", "attention.quiet", "must be a table"),
        ('quiet = { late = "never" }', "attention.quiet, 'late'", '"off" for never'),
        ("volume = 3", "attention.volume", "is not known; known are command, topic"),
    ],
)
def test_what_cannot_be_meant_is_refused(line, field, rule):
    """The error names the field and the rule."""
    with pytest.raises(PlanError, match=rule) as caught:
        parsed(line)
    assert caught.value.field == field


def test_a_capture_keeps_no_command(tmp_path):
    """What is run on this computer neither goes out with a capture nor comes in with one."""
    attention = AttentionPlan(command=("notify", "secret-word"), topic="gym/warnings", quiet_s=5)
    plan = replace(parse_plan(PLAN.format("")), attention=attention)
    path = tmp_path / "a.sqlite"
    CaptureWriter(path, plan, started_utc_ns=0, software="x").close(t_ns=1, reason="stopped")
    with Capture.open(path) as capture:
        assert capture.plan == plan.to_keep
        assert capture.plan.attention == replace(attention, command=())
    assert b"secret-word" not in path.read_bytes()
