"""Labels swapped: a test sensor that leads the reference, or sends what a strap sends."""

from __future__ import annotations

import math

import pytest

from analysis.board.rules.swapped import SwappedLabels
from analysis.board.session_state import SessionState
from analysis.board.snapshot import WarningKind as K
from analysis.statistics.efforts import Answer, Response
from replay.payloads import HeartRate
from tests.standins.session_events import of_kind, plan_of, planned, play, stream

ONE = plan_of(planned("Yarrow", "reference"), planned("Sorrel", placement="left wrist"))


def _swapped(session):
    return [SwappedLabels(session, test) for test in session.tests]


def _efforts(t: float) -> float:
    """Efforts of 120 s every 300 s."""
    into = (t - 60) % 300
    if t < 60:
        return 90
    if into < 120:
        return 90 + 60 * (1 - math.exp(-into / 20))
    return 90 + 60 * math.exp(-(into - 120) / 40)


def _board(lead_s, *, end_s=1000, reference=None, test=None, rules=_swapped, plan=ONE):
    return play(
        plan,
        stream(1, 0.5, end_s, lambda t: _efforts(t - 10), **(reference or {})),
        stream(2, 0.4, end_s, lambda t: _efforts(t - 10 + lead_s), **(test or {})),
        until_s=end_s,
        rules=rules,
    )


@pytest.mark.parametrize("rules", [_swapped, None], ids=["alone", "with all rules"])
def test_sensor_that_leads_in_every_effort_is_named(rules) -> None:
    """A strap under a test sensor's label shows each effort before the wrist does."""
    board = _board(7, rules=rules)
    (warning,) = of_kind(board, K.SWAPPED_LABELS)
    assert warning.sensor == 2
    assert "are Yarrow and Sorrel swapped in the plan?" in warning.cause
    assert "shows 3 of 3 efforts before Yarrow, by 7 s" in warning.cause
    assert warning.end_s is None


@pytest.mark.parametrize("lead_s", [0, 1, -8])
def test_sensor_that_does_not_lead_is_not_named(lead_s: int) -> None:
    """Within two seconds no order can be told; one that follows is as sensors are."""
    assert _board(lead_s).warnings == ()


def test_of_two_optical_sensors_one_may_lead() -> None:
    """Beside an optical reference one that shows each effort before it is only quicker, and one
    that sends RR and contact is another model.
    """
    plan = plan_of(planned("Yarrow", "reference", kind="arm"), planned("Sorrel"))
    assert _board(7, plan=plan).warnings == ()
    assert _board(0, plan=plan, test=STRAP, end_s=200).warnings == ()


def test_two_efforts_do_not_name_it() -> None:
    """A lead in two efforts may be the reference's bad moment."""
    assert _board(7, end_s=640).warnings == ()


STRAP = {"rr": lambda _: (600,), "contact": True}


@pytest.mark.parametrize(
    ("reference", "test", "told"),
    [
        ({}, STRAP, True),
        (STRAP, STRAP, False),
        ({}, {"rr": STRAP["rr"]}, False),
        ({}, {"contact": True}, False),
        ({"contact": True}, STRAP, False),
        ({}, {}, False),
    ],
)
def test_payloads_of_a_strap_name_it_from_the_first_minutes(reference, test, told) -> None:
    """RR and contact from the wrist's label and neither from the reference's."""
    board = _board(0, end_s=200, reference=reference, test=test)
    assert len(board.warnings) == told
    for warning in board.warnings:
        assert 55 <= warning.start_s <= 65
        assert warning.cause.startswith("Sorrel sends RR intervals and contact as a strap does")
        assert "are Yarrow and Sorrel swapped in the plan?" in warning.cause


def test_payloads_of_a_strap_from_the_reference_end_it() -> None:
    """The plan was right after all: its first minutes came without RR."""
    board = play(
        ONE,
        stream(1, 0.5, 100, 90),
        stream(1, 100.5, 200, 90, **STRAP),
        stream(2, 0.4, 200, 92, **STRAP),
        until_s=200,
        rules=_swapped,
    )
    (warning,) = board.warnings
    assert (warning.end_s, warning.cleared) == (101, "Yarrow sends RR intervals or contact, too.")


def test_a_sensor_that_sends_rr_now_and_then_is_named_once() -> None:
    """About as often as is asked for: it does not come and go, and ends by what the reference does,
    though the sensor shows no effort early.
    """
    session = SessionState(ONE)
    (rule,) = _swapped(session)
    test, reference = session.tests[0], session.reference
    late = [Response(Answer.FOLLOWED, 2.0, 0.0, 1.0)] * 3
    session.efforts.answers(2).extend(late)
    plain = [(0, HeartRate(mbpm=90_000))]
    like_a_strap = [(0, HeartRate(mbpm=90_000, contact=True, rr=(600,)))]
    reference.fresh, test.fresh = plain * 60, like_a_strap * 60
    assert int(rule.step(60)) == 1
    test.fresh = plain * 600
    assert int(rule.step(61)) == 1
    reference.fresh = like_a_strap
    assert int(rule.step(62)) == -1
    assert rule.cleared() == "Yarrow sends RR intervals or contact, too."
    reference.fresh, test.fresh = plain * 60, plain
    assert int(rule.step(63)) == -1


def test_it_ends_when_it_no_longer_leads_and_reset_forgets() -> None:
    """By the last efforts alone; what another rule explained is forgotten."""
    session = SessionState(ONE)
    (rule,) = _swapped(session)
    answers = session.efforts.answers(2)

    def see(*leads: float) -> int:
        answers.extend(Response(Answer.FOLLOWED, -lead, 0.0, 1.0) for lead in leads)
        return int(rule.step(len(answers)))

    assert see(5, 5) == 0
    assert see(5) == 1
    assert "shows 3 of 3 efforts" in rule.explain().cause
    assert see(-5, -5, -5) == -1
    assert rule.cleared() == "It no longer leads Yarrow."
    rule.reset()
    assert see(5, 5) == 0
    rule.reset()
    assert see(5) == 0
    session.tests[0].fresh = session.reference.fresh = []
    reading = HeartRate(mbpm=90_000, contact=True, rr=(600,))
    session.tests[0].fresh = [(0, reading)] * 59
    session.reference.fresh = [(0, HeartRate(mbpm=90_000))] * 60
    assert rule.step(90) == 0
    rule.reset()
    assert rule.step(91) == 0


def _seen(*leads: float) -> tuple[SwappedLabels, bool]:
    """The rule after efforts with these leads, in s, of which it was told one by one, and whether
    it says that labels are swapped.
    """
    session = SessionState(ONE)
    (rule,) = _swapped(session)
    for lead in leads:
        session.efforts.answers(2).append(Response(Answer.FOLLOWED, -lead, 0.0, 1.0))
        said = rule.step(len(session.efforts.answers(2)))
    return rule, said == 1


@pytest.mark.parametrize(("lead_s", "counts"), [(2.1, True), (1.9, False), (29, True), (31, False)])
def test_what_counts_as_a_lead(lead_s, counts) -> None:
    """More than two readings on the grid are old, and not longer than half a minute: what comes
    earlier is not of this effort.
    """
    assert _seen(*[lead_s] * 3)[1] is counts


@pytest.mark.parametrize(("leads", "told"), [(5, False), (6, True)])
def test_the_last_eight_efforts_count(leads, told) -> None:
    """Of which three in four must be shown early: six, after as many that were not."""
    assert _seen(*[-5.0] * 6, *[5.0] * leads)[1] is told


@pytest.mark.parametrize(("with_rr", "told"), [(54, True), (53, False)])
def test_a_strap_sends_rr_nearly_always(with_rr, told) -> None:
    """In nine of ten notifications of a minute."""
    session = SessionState(ONE)
    (rule,) = _swapped(session)
    test, reference = session.tests[0], session.reference
    like_a_strap = HeartRate(mbpm=90_000, contact=True, rr=(600,))
    without = HeartRate(mbpm=90_000, contact=True)
    test.fresh = [(0, like_a_strap)] * with_rr + [(0, without)] * (60 - with_rr)
    reference.fresh = [(0, HeartRate(mbpm=90_000))] * 60
    assert (rule.step(60) == 1) is told


def test_two_seconds_are_no_lead_in_its_sentence_either() -> None:
    """What is counted and what is told is the same."""
    rule, is_told = _seen(5, 5, 5, 2.0)
    assert is_told
    assert "shows 3 of 4 efforts before Yarrow, by 5 s" in rule.explain().cause


@pytest.mark.parametrize(("efforts", "verdict"), [(2, 0), (3, -1)])
def test_three_efforts_without_a_lead_are_good(efforts, verdict) -> None:
    """Where no payload has told that the reference is a strap."""
    rule, _ = _seen(*[-5.0] * efforts)
    assert int(rule.step(efforts + 1)) == verdict


@pytest.mark.parametrize("forgets", [False, True])
@pytest.mark.parametrize(
    ("ours", "theirs", "told"), [(60, 60, True), (59, 60, False), (60, 59, False)]
)
def test_payloads_are_told_after_a_minute_of_both(ours, theirs, told, forgets) -> None:
    """Sixty notifications of each, before and after all was forgotten."""
    session = SessionState(ONE)
    (rule,) = _swapped(session)
    test, reference = session.tests[0], session.reference
    if forgets:
        test.fresh = reference.fresh = [(0, HeartRate(mbpm=90_000))] * 40
        rule.step(40)
        rule.reset()
    test.fresh = [(0, HeartRate(mbpm=90_000, contact=True, rr=(600,)))] * ours
    reference.fresh = [(0, HeartRate(mbpm=90_000))] * theirs
    assert (rule.step(100) == 1) is told
