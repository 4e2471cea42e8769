"""Which sensors the rules of a session look at, and which of them beside which."""

from __future__ import annotations

from analysis.board.rules.shared import Shared
from analysis.board.session_state import SessionState
from replay.plan import PlannedSensor
from tests.standins.session_events import plan_of, planned

FILE = {"source": "file", "file": "tansy.fit", "alignment": "estimated", "kind": ""}
BROKER = {"source": "mqtt", "kind": "", "topic": "gym/sorrel/hr"}


def _shared(*more: PlannedSensor) -> Shared:
    reference = planned("Yarrow", "reference")
    return Shared(SessionState(plan_of(reference, planned("Sorrel", **BROKER), *more)))


def test_only_what_the_capture_hears_has_a_link_or_a_broker() -> None:
    """A file has neither; a companion has one."""
    shared = _shared(planned("Tansy", **FILE), planned("Strides", "companion"))
    assert [one.label for one in shared.linked] == ["Yarrow", "Sorrel", "Strides"]
    assert [one.label for one in shared.over_mqtt] == ["Sorrel"]


def test_a_delay_is_a_sensors_own_on_the_references_clock_alone() -> None:
    """What a file says of times was placed by its heart rate."""
    assert [one.label for one in _shared(planned("Tansy", **FILE)).timed] == ["Sorrel"]


def test_each_sensor_is_held_against_all_others_that_send_a_heart_rate() -> None:
    """As a relay, in the order of the plan, and never against itself."""
    shared = _shared(planned("Tansy"), planned("Strides", "companion"), planned("Bracken"))
    labels = ["Yarrow", "Sorrel", "Tansy", "Bracken"]
    assert [one.label for one in shared.compared] == labels
    assert [one.sensor.label for one in shared.streams] == labels
    for relay, label in zip(shared.relays, labels, strict=True):
        assert relay.watched.label == label
        beside = [echo.source.sensor.label for echo in relay._echoes]
        assert beside == [one for one in labels if one != label]
    assert [one.watched.label for one in shared.deviations] == labels[1:]
    assert [one.watched.label for one in shared.on_cadence] == labels[1:]


def test_the_unit_of_the_references_rr_is_asked_of_its_own_rule() -> None:
    """Wherever it stands in the plan: slipped RR are no missing beats."""
    plan = plan_of(planned("Sorrel"), planned("Yarrow", "reference"), planned("Tansy"))
    shared = Shared(SessionState(plan))
    shared.unit_slips[0]._factor, shared.unit_slips[1]._factor = 7.0, 1.024
    assert shared.loose._account._unit() == 1.024
