"""Which sensors the rules of a session look at, and which of them beside which."""

from __future__ import annotations

import heapq
import random
from collections.abc import Iterable, Iterator

from analysis.board import Board
from analysis.board.rules.base import Rule
from analysis.board.rules.shared import Shared
from analysis.board.session_state import SessionState
from replay.channels import decode
from replay.event import Event
from replay.payloads import encode_heart_rate
from replay.plan import PlannedSensor
from tests.standins.session_events import plan_of, planned, strap

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
        beside = [echo.source.sensor.label for echo in relay.echoes]
        assert beside == [one for one in labels if one != label]
    assert [one.watched.label for one in shared.deviations] == labels[1:]
    assert [one.watched.label for one in shared.on_cadence] == labels[1:]


def _in_ms(events: Iterable[Event]) -> Iterator[Event]:
    """The same notifications with RR in ms, where 1/1024 s is due."""
    for event in events:
        reading = decode(event.channel, event.payload)
        rr = [round(one * 1000 / 1024) for one in reading.rr]
        yield event._replace(payload=encode_heart_rate(round(reading.bpm), rr=rr))


def test_the_unit_of_the_references_rr_is_asked_of_its_own_rule() -> None:
    """Wherever it stands in the plan: slipped RR are no missing beats."""
    plan = plan_of(planned("Sorrel"), planned("Yarrow", "reference"), planned("Tansy"))
    made: list[Shared] = []

    def rules(session: SessionState) -> list[Rule]:
        made.append(Shared(session))
        return [*made[0].unit_slips, made[0].loose]

    board = Board(plan, rules)
    missing_s = []

    def listen(_second: int) -> None:
        (of_rr,) = (one for one in made[0].loose.explain().measures if "not filled" in one.name)
        missing_s.append(of_rr.value)

    board.on_second = listen
    source = random.Random(1)
    beats_s = [0.45 + source.gauss(0, 0.01) for _ in range(800)]
    in_ms = [event._replace(sensor=2) for event in _in_ms(strap(beats_s))]
    for event in heapq.merge(strap(beats_s), in_ms, key=lambda event: event.t_ns):
        board.feed(event)
    factors = [one.factor for one in made[0].unit_slips]
    assert factors == [1.0, 1.024, 1.0]
    assert max(missing_s[:150]) > 0.5  # not known yet
    assert max(missing_s[200:]) < 0.2
