"""A plan in the making: roles, labels, what is still missing, places and their mirror."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.report.reporting_items import reporting_items
from live.setup.places import PLACES, from_sensor
from live.setup.plan_builder import DETAILS, PlanBuilder
from replay.attention import AttentionPlan
from replay.broker import Broker
from replay.page import PagePlan
from replay.payloads.device import BODY_LOCATIONS
from replay.placement import mirrored, part, side
from replay.plan import PlannedSensor, format_plan, parse_plan

YARROW = PlannedSensor(label="Yarrow", role="reference", placement="chest", address="C0:01")
SORREL = PlannedSensor(label="Sorrel", role="test", placement="left wrist", address="C0:02")
TANSY = PlannedSensor(label="Tansy", role="test", placement="right wrist", address="C0:03")
BRACKEN = PlannedSensor(
    label="Bracken", role="test", placement="waist", source="simulated", kind="arm"
)
WHOLE = PlanBuilder(wearer="W1", activity="kettlebell sets", sensors=(YARROW, SORREL, TANSY))


def test_a_whole_draft_is_a_plan_that_reads_back():
    """What the page writes is what a person would write: it parses to an equal plan."""
    assert WHOLE.problems() == []
    plan = WHOLE.plan()
    assert parse_plan(format_plan(plan)) == plan
    assert PlanBuilder.of(plan).plan() == plan


@pytest.mark.parametrize(
    ("builder", "word"),
    [
        (PlanBuilder(), "Tick the sensors"),
        (replace(WHOLE, sensors=(SORREL, TANSY)), "reference"),
        (replace(WHOLE, sensors=(YARROW,)), "under test"),
        (replace(WHOLE, wearer=""), "code"),
        (replace(WHOLE, wearer="a full name"), "not a name"),
        (replace(WHOLE, activity="  "), "activity"),
        (WHOLE.changed(1, label=" "), "label"),
        (WHOLE.changed(1, label="Tansy"), "Two sensors are called Tansy"),
        (WHOLE.changed(2, placement=""), "Tansy: say where"),
        (WHOLE.with_sensor(replace(SORREL, label="Twin")), "address"),
        (WHOLE.with_sensor(replace(BRACKEN, kind="x")), "kind: must be one of strap"),
        (
            replace(WHOLE.with_sensor(BRACKEN), activity="chess"),
            "activity: a simulated wearer can only do",
        ),
    ],
)
def test_what_is_missing_is_said(builder, word):
    """Each thing that keeps it from being a plan has its sentence."""
    problems = builder.problems()
    assert [problem for problem in problems if word in problem]
    assert all(problem.endswith(".") for problem in problems)


def test_there_is_one_reference():
    """Who is made the reference takes the role over and stands first; a second one comes as a test
    sensor.
    """
    turned = WHOLE.changed(1, role="reference")
    assert [sensor.role for sensor in turned.sensors] == ["reference", "test", "test"]
    assert turned.sensors[0].label == WHOLE.sensors[1].label
    more = WHOLE.with_sensor(replace(YARROW, address="C0:09"))
    assert (more.sensors[-1].role, more.sensors[-1].label) == ("test", "Yarrow 2")


def test_the_broker_is_in_the_plan_only_if_it_is_needed():
    """A broker without MQTT sensors is left out; with one it is kept."""
    builder = replace(WHOLE, broker=Broker(host="10.0.0.5"))
    assert builder.plan().broker is None
    with_topic = builder.with_sensor(
        PlannedSensor(label="Bracken", role="test", placement="waist", source="mqtt", topic="a/b")
    )
    assert with_topic.plan().broker == Broker(host="10.0.0.5")
    published = Broker(host="10.0.0.5", publish="gym/board")
    assert replace(builder, broker=published).plan().broker == published


def test_what_the_page_has_no_field_for_is_kept():
    """A plan that was read keeps what a warning sets off, the page that it serves, each sensor's
    own age limit.
    """
    plan = replace(
        WHOLE.plan(),
        attention=AttentionPlan(command=("notify", "me")),
        page=PagePlan(address="192.168.1.20"),
        sensors=(YARROW, replace(SORREL, hold_s=8.0)),
    )
    assert PlanBuilder.of(plan).plan() == plan


def test_empty_details_are_left_out_and_simulated_sensors_mark_the_plan():
    """Only details that were given are stored; one simulated sensor makes the session invented."""
    builder = replace(WHOLE, details={"skin tone": " 3 of 6 ", "height": "  "})
    assert builder.plan().details == {"skin tone": "3 of 6"}
    assert not builder.plan().invented
    strap = replace(YARROW, source="simulated", kind="strap")
    assert replace(builder, sensors=(strap, SORREL)).plan().invented


@pytest.mark.parametrize("place", PLACES)
def test_mirroring_twice_changes_nothing(place):
    """The mirror of a place is a place, and its mirror is the first."""
    other = mirrored(place)
    assert other in PLACES
    assert mirrored(other) == place
    assert part(other) == part(place)
    assert (other == place) == (side(place) == "")


@pytest.mark.parametrize("told", BODY_LOCATIONS)
def test_no_side_is_invented(told):
    """A sensor that says wrist does not say which; only a place without sides is taken over."""
    assert side(from_sensor(told)) == ""
    assert from_sensor(told) in {"", *PLACES}


def test_the_details_asked_for_are_those_a_report_lists():
    """What the set-up page asks for is, name by name, what a report else calls not stated."""
    asked = [name for name, hint in DETAILS if hint]
    empty = reporting_items(WHOLE.plan())
    assert asked == list(empty.missing)
    told = reporting_items(replace(WHOLE, details=dict.fromkeys(asked, "1")).plan())
    assert (told.missing, told.others) == ((), ())
