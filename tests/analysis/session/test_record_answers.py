"""What a record answers beside its numbers: names, counts, what counts and what is barred."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from analysis.board.snapshot import WarningKind
from analysis.session.record import (
    AnswerShare,
    Clock,
    NotedMarker,
    Provenance,
    SensorFacts,
    SensorRecord,
    SessionRecord,
    StandingFault,
    Tally,
    named_efforts,
)
from analysis.statistics.agreement import Tolerance
from analysis.statistics.delay import UNSURE
from analysis.statistics.efforts import Answer, Effort, Kind, Response
from analysis.statistics.estimate import Estimate
from analysis.statistics.stretch import Stretch
from replay.plan import Plan, PlannedSensor


def made(kind: type, **values: Any) -> Any:
    """A value of this kind with these fields; those that nobody asks for hold nothing."""
    empty = {field.name: None for field in dataclasses.fields(kind)}
    return kind(**{**empty, **values})


def facts(number: int, label: str, *gaps: Stretch) -> SensorFacts:
    """What a sensor sent."""
    return made(SensorFacts, number=number, label=label, gaps=gaps)


def sensor(number: int, label: str, **values: Any) -> SensorRecord:
    """A test sensor."""
    return made(SensorRecord, facts=facts(number, label), **values)


def tally() -> Tally:
    """Of 20 efforts, each answer another number of times."""
    shares = {
        name: AnswerShare(count, Estimate(count / 17))
        for name, count in (("followed", 9), ("late", 5), ("blunted", 2), ("missed", 1))
    }
    return Tally(count=20, unseen=3, **shares)


def test_a_capture_is_believed_whole_and_closed_unless_it_is_said() -> None:
    """So is a clock comparable; nothing else is known."""
    none = Provenance()
    assert (none.clean, none.whole, none.started_utc_ns, none.notes) == (True, True, 0, 0)
    clock = Clock(number=2, is_capture=True)
    assert (clock.is_comparable, clock.offset_s, clock.offset_s_interval) == (True, 0.0, None)


def test_gaps_are_added_up_and_the_longest_is_known() -> None:
    """In seconds; none at all is none."""
    two = facts(1, "Yarrow", Stretch(10, 12), Stretch(20, 25))
    assert (two.gap_s, two.longest_gap_s) == (7, 5)
    none = facts(1, "Yarrow")
    assert (none.gap_s, none.longest_gap_s) == (0, 0)


def test_a_tally_is_judged_on_what_was_seen_and_knows_each_answer() -> None:
    """What was not seen counts among all and is no answer that judges."""
    one = tally()
    assert one.judged == 17
    counts = {answer: one.of(answer) for answer in Answer}
    assert counts == {
        Answer.FOLLOWED: 9,
        Answer.LATE: 5,
        Answer.BLUNTED: 2,
        Answer.MISSED: 1,
        Answer.UNSEEN: 3,
    }
    assert one.share_of(Answer.LATE) is one.late


def test_what_counts_is_without_exclusions_where_there_are_any() -> None:
    """The whole session otherwise."""
    whole, less = object(), object()
    assert sensor(2, "Sorrel", whole=whole, without_exclusions=less).counted is less
    assert sensor(2, "Sorrel", whole=whole).counted is whole


@pytest.mark.parametrize(
    ("delays", "caution", "seen"),
    [
        ([4.0, None, 1.0, 9.0], UNSURE, (1.0, 9.0)),
        ([4.0, None, 1.0], UNSURE, None),
        ([4.0, 1.0, 9.0], "", None),
        ([None] * 4, UNSURE, None),
    ],
)
def test_a_range_of_delays_stands_where_no_one_delay_does(delays, caution, seen) -> None:
    """Of three changes at least whose delay is known."""
    responses = tuple(Response(Answer.FOLLOWED, delay) for delay in delays)
    one = sensor(2, "Sorrel", delay=Estimate(None, caution=caution), responses=responses)
    assert one.delays_seen == seen


def test_efforts_and_troughs_have_their_own_tallies() -> None:
    """By their kind."""
    efforts, troughs = object(), object()
    one = sensor(2, "Sorrel", efforts=efforts, troughs=troughs)
    assert (one.tally(Kind.EFFORT), one.tally(Kind.TROUGH)) == (efforts, troughs)
    assert (one.number, one.label) == (2, "Sorrel")


def test_a_fault_lasts_from_its_start_to_its_end_and_a_marker_has_a_time() -> None:
    """In whole seconds, and to the millisecond."""
    fault = StandingFault(2, WarningKind.RELAY, 40, 100, "x")
    assert fault.seconds == 60
    assert NotedMarker(1_234_567_890, "second set").at_s == 1.235


@pytest.fixture(name="session")
def session_fixture() -> SessionRecord:
    """Three sensors: one on a clock of its own, one that repeats another."""
    planned = [
        PlannedSensor(label=label, role=role, source="simulated", kind="wrist")
        for label, role in (("Yarrow", "reference"), ("Sorrel", "test"), ("Tansy", "test"))
    ]
    plan = Plan(
        wearer="W1",
        activity="rowing ergometer",
        invented=True,
        sensors=tuple(planned),
        tolerance_bpm=7.0,
        tolerance_percent=3.0,
    )
    return made(
        SessionRecord,
        plan=plan,
        duration_ns=90_500_000_000,
        sensors=(sensor(2, "Sorrel"), sensor(3, "Tansy")),
        clocks=(
            Clock(number=1, is_capture=True),
            Clock(number=2, is_capture=True),
            Clock(number=3, is_capture=False, is_comparable=False),
        ),
        standing=(StandingFault(2, WarningKind.RELAY, 40, 100, "x"),),
    )


def test_a_session_knows_its_length_its_tolerance_and_its_sensors(session) -> None:
    """By their labels; the session itself has none, and the reference is no test sensor."""
    assert session.duration_s == 90.5
    assert session.tolerance == Tolerance(7.0, 3.0)
    assert [session.label(number) for number in range(4)] == [None, "Yarrow", "Sorrel", "Tansy"]
    assert session.sensor("Tansy").number == 3
    with pytest.raises(KeyError, match="'Yarrow' is no test sensor"):
        session.sensor("Yarrow")


def test_what_cannot_be_compared_or_is_barred_is_named(session) -> None:
    """A clock of its own, a fault that stands."""
    assert [one.label for one in session.comparable] == ["Sorrel"]
    assert session.barred == {2}


def test_efforts_and_troughs_are_numbered_each_for_themselves() -> None:
    """From one, in order of time."""
    kinds = [Kind.EFFORT, Kind.TROUGH, Kind.EFFORT, Kind.EFFORT, Kind.TROUGH]
    efforts = [
        Effort(kind, 100 * n, 100 * n + 40, 100 * n + 80, 100.0, 150.0, False)
        for n, kind in enumerate(kinds)
    ]
    named = named_efforts(efforts)
    assert [name for name, _ in named] == ["E1", "T1", "E2", "E3", "T2"]
    assert [effort for _, effort in named] == efforts
