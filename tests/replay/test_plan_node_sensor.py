"""A plan's sensor that another computer listens to."""

from __future__ import annotations

import pytest

from replay.errors import PlanError
from replay.plan import format_plan, is_node_name, parse_plan

PLAN = """
[session]
wearer = "W1"
activity = "rest"

[[sensor]]
label = "Yarrow"
role = "reference"
name = "Yarrow"

[[sensor]]
label = "Sorrel"
role = "test"
source = "node"
node = "attic"
address = "C0:00:00:00:00:02"
"""


def test_a_sensor_of_a_node_is_read_and_written() -> None:
    """Its node stands in the plan, and the plan names its nodes."""
    plan = parse_plan(PLAN)
    assert plan.sensors[1].node == "attic"
    assert plan.nodes == ("attic",)
    assert parse_plan(format_plan(plan)) == plan
    assert plan.sensors[1].shares_clock(plan.sensors[0])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('node = "attic"', "", "node: must be"),
        ('node = "attic"', 'node = "the attic"', "node: must be"),
        ('node = "attic"', f'node = "{"a" * 21}"', "node: must be"),
        ('address = "C0:00:00:00:00:02"', "", "needs an address or a name"),
        ('source = "node"', 'source = "bluetooth"', 'source = "node" only'),
    ],
)
def test_what_a_node_cannot_be_is_said(old: str, new: str, said: str) -> None:
    """A name that is none, a sensor that cannot be found, a node of another source."""
    with pytest.raises(PlanError, match=said):
        parse_plan(PLAN.replace(old, new))


def test_names_of_nodes_fit_into_topics_and_clocks() -> None:
    """Letters, digits, - and _, at most 20."""
    assert all(map(is_node_name, ("a", "Attic-2", "a_b", "9", "x" * 20)))
    assert not any(map(is_node_name, ("", "-a", "a/b", "a+", "#", "ä", "x" * 21)))


def test_a_broker_is_on_the_way_of_its_readings() -> None:
    """As with a sensor over MQTT, and with no other."""
    (node,) = (s for s in parse_plan(PLAN).sensors if s.source == "node")
    assert node.over_mqtt
    assert not parse_plan(PLAN).sensors[0].over_mqtt
