"""The broker of a plan: under which prefix the board may be published, where its files lie."""

from __future__ import annotations

import pytest

from replay.broker import LONGEST_PREFIX, Broker, check_prefix
from replay.errors import PlanError
from replay.plan import parse_plan

TOPICS = ("gym/hr", "gym/board/alarm")


@pytest.mark.parametrize("prefix", ["gym/b", "board", "x" * LONGEST_PREFIX, "gym/hrs"])
def test_names_joined_by_strokes_are_a_prefix(prefix: str) -> None:
    """Nothing that is listened to lies below it."""
    check_prefix(prefix, TOPICS)


@pytest.mark.parametrize(
    ("prefix", "rule"),
    [
        ("x" * (LONGEST_PREFIX + 1), "must have at most"),
        ("gym/+", "without wildcards"),
        ("gym/#", "without wildcards"),
        ("gym\u200b", "signs that cannot be seen"),
        ("gym//board", "none of them empty"),
        ("/gym", "none of them empty"),
        ("gym/", "none of them empty"),
        ("$SYS/board", "the first without"),
        ("gym", "stands over 'gym/hr'"),
        ("gym/hr", "stands over 'gym/hr'"),
        ("gym/board", "stands over 'gym/board/alarm'"),
    ],
)
def test_a_prefix_that_is_none_or_makes_a_loop_is_refused(prefix: str, rule: str) -> None:
    """In one sentence that names the field."""
    with pytest.raises(PlanError, match=rule) as caught:
        check_prefix(prefix, TOPICS)
    assert caught.value.field == "broker.publish"
    assert "\n" not in str(caught.value)


PLAN = """
[session]
wearer = "W1"
activity = "rowing ergometer"

[broker]
host = "gym"
publish = "gym/board"

[[sensor]]
label = "Yarrow"
role = "reference"
source = "mqtt"
topic = "{topic}"
"""


def test_a_plan_that_listens_below_its_own_prefix_is_refused() -> None:
    """What it publishes would come back to it as a reading."""
    assert parse_plan(PLAN.format(topic="gym/hr")).prefix == "gym/board"
    with pytest.raises(PlanError, match="stands over 'gym/board/hr'"):
        parse_plan(PLAN.format(topic="gym/board/hr"))


def test_its_files_are_found_where_the_plan_lies() -> None:
    """Each of the three; those that are not named stay so."""
    one = Broker(ca_file="ca.pem", key_file="key.pem").with_files(
        lambda name: name and f"/p/{name}"
    )
    assert (one.ca_file, one.cert_file, one.key_file) == ("/p/ca.pem", "", "/p/key.pem")
