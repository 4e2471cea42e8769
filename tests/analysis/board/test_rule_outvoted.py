"""Outvoted reference: sensors that agree with each other against a reference that has a vote."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from analysis.board import suggest_exclusions
from analysis.board.rules.deviation import Deviation, deviation_of
from analysis.board.rules.outvoted import OutvotedReference
from analysis.board.rules.registry import REGISTRY, rules_for
from analysis.board.session_state import SessionState
from analysis.board.snapshot import Severity
from analysis.board.snapshot import WarningKind as K
from analysis.statistics.pairing import NO_VALUE
from replay.event import Event
from tests.standins.session_events import hr, of_kind, plan_of, planned, play, stream

FOUR = plan_of(
    planned("Yarrow", "reference"),
    planned("Sorrel", placement="left wrist"),
    planned("Tansy", placement="right wrist"),
    planned("Bracken", placement="upper arm"),
)


def _outvoted(session):
    deviations = [deviation_of(session, test) for test in session.tests]
    return [OutvotedReference(session, session.reference, deviations)]


def _with_beats(session):
    kinds = (K.OUTVOTED_REFERENCE, K.LOOSE_REFERENCE)
    return [rule for rule in rules_for(session) if rule.kind in kinds]


def _sound_strap(end_s: int, bpm=lambda _t: 140.0) -> list[Event]:
    """A strap whose RR are whole and agree with its bpm."""
    events, beat_s = [], 0.0
    for k in range(1, end_s):
        rr = []
        while beat_s + 60 / bpm(beat_s) <= k:
            rr.append(round(61_440 / bpm(beat_s)))
            beat_s += 60 / bpm(beat_s)
        events.append(hr(k, 1, round(bpm(k)), rr=rr))
    return events


def test_reference_against_two_that_agree_is_outvoted() -> None:
    """Two sensors that agree with each other and not with the reference name it within a minute."""
    board = play(
        plan_of(),
        stream(1, 0.2, 400, lambda t: 175 if 200 < t < 320 else 140),
        stream(2, 0.5, 400, 139),
        stream(3, 0.7, 400, 142),
        until_s=400,
        rules=_outvoted,
    )
    (warning,) = board.warnings
    assert (warning.sensor, warning.severity) == (1, Severity.REFERENCE_FAULT)
    assert warning.since_s in (200, 201, 202)
    assert warning.start_s <= 230
    assert "Sorrel and Tansy agree with each other" in warning.cause
    assert warning.end_s is not None
    assert 320 < warning.end_s <= 350


def test_one_against_one_is_no_vote() -> None:
    """A single test sensor never outvotes the reference; nor do two that disagree."""
    alone = play(
        plan_of(planned("Yarrow", "reference"), planned("Sorrel")),
        stream(1, 0.2, 300, lambda t: 175 if t > 150 else 140),
        stream(2, 0.5, 300, 140),
        until_s=300,
        rules=_outvoted,
    )
    torn = play(
        plan_of(),
        stream(1, 0.2, 300, 140),
        stream(2, 0.5, 300, lambda t: 170 if t > 150 else 140),
        stream(3, 0.7, 300, lambda t: 110 if t > 150 else 140),
        until_s=300,
        rules=_outvoted,
    )
    assert alone.warnings == torn.warnings == ()


def test_two_that_are_late_alike_do_not_outvote() -> None:
    """Two optical sensors that follow an effort late and blunted agree in their error; the sound
    beats of the reference say that it is theirs.
    """

    def effort(t: float) -> float:
        into = t % 300 - 80
        if into < 0:
            return 100
        if into < 120:
            return 100 + 75 * (1 - math.exp(-into / 15))
        return 100 + 75 * math.exp(-(into - 120) / 20)

    board = play(
        plan_of(),
        _sound_strap(900, effort),
        stream(2, 0.5, 900, lambda t: 100 + 0.7 * (effort(t - 12) - 100)),
        stream(3, 0.7, 900, lambda t: 100 + 0.7 * (effort(t - 14) - 100)),
        until_s=900,
        rules=_with_beats,
    )
    assert board.warnings == ()


@pytest.mark.parametrize(("leap", "told"), [(True, True), (False, False)])
def test_sound_beats_do_not_defend_a_reference_that_leapt_to_them(leap, told) -> None:
    """A strap that counts another's beats from one second to the next is outvoted for as long as it
    does, however sound they are; one that two wrists have slowly left is not.
    """
    strap = _sound_strap(400, lambda t: 140.0 if t < 200 or not leap else 105.0)
    away = 140 if leap else 110

    def shown(t: float) -> float:
        return 140 + (away - 140) * min(1.0, max(0.0, t - 200) / 20)

    board = play(
        plan_of(), strap, stream(2, 0.5, 400, shown), stream(3, 0.7, 400, shown),
        until_s=400, rules=_with_beats,
    )  # fmt: skip
    warnings = of_kind(board, K.OUTVOTED_REFERENCE)
    assert len(warnings) == told
    for warning in warnings:
        assert 220 <= warning.start_s <= 240
        assert warning.end_s is None


def test_outvoted_reference_silences_apart() -> None:
    """While the reference is the suspect, no test sensor is said to be apart from it."""
    board = play(
        plan_of(),
        stream(1, 0.2, 500, lambda t: 180 if t > 200 else 140),
        stream(2, 0.5, 500, 139),
        stream(3, 0.7, 500, 142),
        until_s=500,
    )
    assert [w.kind for w in board.warnings] == [K.OUTVOTED_REFERENCE]


@pytest.mark.parametrize("wrists", [2, 3])
def test_sound_beats_defend_the_reference_against_two(wrists: int) -> None:
    """Two that read 30 bpm low together lose to beats that agree with the bpm; three win."""
    low = [stream(n, 0.3 + n / 10, 400, lambda t: 110 if t > 100 else 140) for n in (2, 3)]
    third = stream(4, 0.7, 400, lambda t: 110 if t > 100 and wrists == 3 else 40 + t / 10)
    board = play(FOUR, _sound_strap(400), *low, third, until_s=400, rules=_with_beats)
    told = of_kind(board, K.OUTVOTED_REFERENCE)
    assert len(told) == (wrists == 3)


@pytest.mark.parametrize("with_rr", [True, False])
def test_cold_wrists_never_win_against_strap_and_arm(with_rr: bool) -> None:
    """Both wrists 20 bpm low for 5 min lose to a strap that the arm sensor agrees with."""

    def heart(t: float) -> float:
        return 140 + 5 * math.sin(t / 30)

    strap = _sound_strap(700, heart) if with_rr else stream(1, 0.2, 700, heart)
    wrists = [
        stream(n, 0.3 + n / 10, 700, lambda t, n=n: heart(t - 3 * n) - (22 if 200 < t < 500 else 0))
        for n in (2, 3)
    ]
    arm = stream(4, 0.7, 700, lambda t: heart(t - 5))
    board = play(FOUR, strap, *wrists, arm, until_s=700)
    assert of_kind(board, K.OUTVOTED_REFERENCE) == []
    assert {w.sensor for w in of_kind(board, K.APART)} == {2, 3}, board.warnings


def test_reference_that_is_wrong_from_the_first_second_is_told() -> None:
    """The others need not have agreed with it before."""
    board = play(
        plan_of(),
        stream(1, 0.2, 200, 175),
        stream(2, 0.5, 200, 139),
        stream(3, 0.7, 200, 142),
        until_s=200,
        rules=_outvoted,
    )
    (warning,) = board.warnings
    assert warning.since_s <= 2
    assert 24 <= warning.start_s <= 28
    assert "which shows 175" in warning.cause
    assert warning.end_s is None


def test_reset_forgets_the_votes() -> None:
    """What another rule explained is not counted on top of what comes after it."""
    session = SessionState(plan_of())
    (rule,) = _outvoted(session)

    def see(seconds: range) -> list[int]:
        said = []
        for second in seconds:
            for sensor, held in zip(session.sensors, (175_000, 140_000, 141_000), strict=True):
                sensor.held.append(held)
            session.second = second
            said.append(int(rule.step(second)))
        return said

    assert 1 not in see(range(24))
    rule.reset()
    assert 1 not in see(range(24, 48))
    assert see(range(48, 49)) == [1]
    assert rule.since() == 24


def test_no_stretch_is_left_out_for_what_the_others_say() -> None:
    """The outcome must not choose its data: an outvoted reference is a warning, no exclusion."""
    board = play(
        plan_of(),
        stream(1, 0.2, 400, lambda t: 175 if t > 200 else 140),
        stream(2, 0.5, 400, 139),
        stream(3, 0.7, 400, 142),
        until_s=400,
    )
    assert of_kind(board, K.OUTVOTED_REFERENCE)
    assert suggest_exclusions(board.warnings, board.plan, 400) == []


def test_warnings_that_compare_neither_exclude_nor_end_one_that_does() -> None:
    """Of the reference's warnings those about its own signal alone leave stretches out."""
    compared = {K.OUTVOTED_REFERENCE, K.RELAY, K.SAME_SENSOR}
    excluding = {row.kind for row in REGISTRY if row.excludes}
    assert not excluding & compared
    for row in REGISTRY:
        if row.kind in compared:
            assert not row.explains & excluding, row.kind


@dataclass
class _Beats:
    """What a loose-reference rule says of the beats."""

    bad_beats: int = 0
    contradicts_bpm: int | None = None
    beats_are_sound: bool = False


def _seen(plan, rows, loose=None) -> tuple[OutvotedReference, list[int]]:
    """The rule, and its verdicts on seconds of these values in bpm, ``None`` for no value."""
    session = SessionState(plan)
    deviations = [Deviation(session, test) for test in session.tests]
    rule = OutvotedReference(session, session.reference, deviations, loose=loose)
    verdicts = []
    for second, row in enumerate(rows):
        for sensor, bpm in zip(session.sensors, row, strict=True):
            sensor.held.append(NO_VALUE if bpm is None else 1000 * bpm)
        session.second = second
        verdicts.append(int(rule.step(second)))
    return rule, verdicts


AGAINST, AGREED = (175, 140, 141), (140, 140, 141)


def test_a_second_of_disagreement_is_forgotten_in_the_next() -> None:
    """It neither counts towards a later one nor is its beginning; one good second ends nothing that
    has lasted for longer.
    """
    rule, said = _seen(plan_of(), [*[AGREED] * 5, AGAINST, *[AGREED] * 9, *[AGAINST] * 25])
    assert said.index(1) == 15 + 24
    assert rule.since() == 15
    rule, said = _seen(plan_of(), [*[AGREED] * 5, *[AGAINST] * 10, AGREED, *[AGAINST] * 16])
    assert said.index(1) == 16 + 15  # 10 − 1 + 16 are 25
    assert rule.since() == 5


def test_nobody_against_it_is_good_even_where_there_are_too_few_to_vote() -> None:
    """One test sensor that agrees is a good second; one that does not proves nothing."""
    assert _seen(plan_of(), [(140, 140, None)])[1] == [-1]
    assert _seen(plan_of(), [(140, 180, None)])[1] == [0]


def test_a_sensor_without_a_value_has_no_vote() -> None:
    """Neither for the reference nor against it."""
    assert 1 in _seen(FOUR, [(*AGAINST, None)] * 25)[1]
    assert 1 not in _seen(FOUR, [(*AGAINST, 175)] * 60)[1]


@pytest.mark.parametrize(("bad_beats", "told"), [(5, True), (6, False)])
def test_a_reference_whose_beats_are_bad_is_told_of_by_these(bad_beats: int, told: bool) -> None:
    """From six bad beats among the last sixty on the cause is known."""
    _, said = _seen(plan_of(), [AGAINST] * 60, _Beats(bad_beats))
    assert (1 in said) is told


@pytest.mark.parametrize(("beats", "at_s"), [({}, 25), ({"beats_are_sound": True}, None)])
def test_sound_beats_are_a_vote_of_their_own(beats, at_s) -> None:
    """Two against the reference and its own beats are no majority; three are, after longer."""
    _, said = _seen(plan_of(), [AGAINST] * 60, _Beats(**beats))
    assert (said.index(1) + 1 if 1 in said else None) == at_s
    _, said = _seen(FOUR, [(*AGAINST, 142)] * 120, _Beats(**beats))
    assert said.index(1) + 1 == (25 if at_s else 35)


def test_of_two_groups_as_large_the_lower_is_named() -> None:
    """Their mean and names are those of one group, not of all that are against it."""
    plan = plan_of(
        planned("Yarrow", "reference"),
        *(planned(label) for label in ("Sorrel", "Tansy", "Bracken", "Clover")),
    )
    rule, said = _seen(plan, [(100, 190, 160, 192, 161)] * 25)
    assert said[-1] == 1
    assert rule.explain().cause.startswith("Tansy and Clover agree with each other at 160 bpm")
    by_name = {one.name: one.value for one in rule.explain().measures}
    assert by_name["their mean"] == 160.5
    assert by_name["sensors against it"] == 2


def test_sensors_that_went_part_of_the_way_count_half() -> None:
    """They may only be blunted: fifty seconds in place of twenty-five."""
    rise = [(100 + 10 * k, 100 + 5 * k, 101 + 5 * k) for k in range(7)]
    rule, said = _seen(plan_of(), [*[(100, 100, 101)] * 5, *rise, *[(160, 130, 131)] * 90])
    assert said.index(1) - rule.since() + 1 == 50


def test_seconds_in_which_its_own_rr_side_with_the_others_count_twice() -> None:
    """Thirteen of them make twenty-five."""
    loose = _Beats(contradicts_bpm=140_000)
    rule, said = _seen(plan_of(), [*[AGREED] * 5, *[AGAINST] * 30], loose)
    assert said.index(1) - rule.since() + 1 == 13
