"""When beats come, as evidence for the unit of the RR."""

from __future__ import annotations

import random

import pytest

from analysis.board.rules.beat_phase import BeatPhase, UnitEvidence
from analysis.board.rules.thresholds import UNIT_SLIP
from replay.event import NS_PER_S
from replay.payloads import RR_PER_S

SHORT, LONG = UNIT_SLIP.slip, 1 / UNIT_SLIP.slip
"""What RR sent in ms must be multiplied with, and what ms told as 1/1024 s."""


def _evidence(
    seconds: int, *, factor: float = 1.0, left_out: float = 0.0, lost: float = 0.0, seed: int = 3
) -> UnitEvidence:
    """After a heart at 140 bpm, heard once a second, with RR of this factor."""
    source = random.Random(seed)
    evidence = UnitEvidence((SHORT, LONG), UNIT_SLIP)
    beat_s, last_s, ready = 0.0, 0, []
    for second in range(1, seconds):
        while beat_s < second:
            rr_s = 60 / 140 + source.gauss(0, 0.01)
            beat_s += rr_s
            if source.random() >= left_out:
                ready.append((beat_s, round(rr_s * RR_PER_S * factor)))
        told = [rr for at, rr in ready if at <= second]
        ready = [one for one in ready if one[0] > second]
        if source.random() < lost:
            continue
        if second - last_s > 1:
            evidence.skip(second - last_s, told)
        else:
            evidence.take(second * NS_PER_S, 1.0, 1.0, told)
        last_s = second
    return evidence


@pytest.mark.parametrize(("left_out", "lost"), [(0, 0), (0.05, 0), (0.1, 0), (0, 0.1), (0.05, 0.1)])
def test_beats_in_the_right_unit_speak_for_no_other(left_out, lost) -> None:
    """However many are left out or lost, for ten minutes."""
    for seed in range(4):
        evidence = _evidence(600, left_out=left_out, lost=lost, seed=seed)
        assert max(evidence.of(SHORT), evidence.of(LONG)) < UNIT_SLIP.evidence_alone


@pytest.mark.parametrize(("factor", "slip"), [(1 / SHORT, SHORT), (SHORT, LONG)])
@pytest.mark.parametrize(("left_out", "lost"), [(0, 0), (0.03, 0), (0, 0.1)])
def test_beats_in_another_unit_speak_for_it_and_not_for_its_inverse(
    factor, slip, left_out, lost
) -> None:
    """Within ten minutes, and from early on."""
    evidence = _evidence(600, factor=factor, left_out=left_out, lost=lost)
    assert evidence.of(slip) >= UNIT_SLIP.evidence_alone
    assert evidence.of(1 / slip) < evidence.of(slip)
    assert evidence.begun_ns(slip) <= 300 * NS_PER_S


def test_evidence_is_bounded_and_forgotten() -> None:
    """What was long ago does not outlive the fault: it is no more than of twelve beats."""
    evidence = _evidence(1500, factor=1 / SHORT)
    assert 10.5 <= evidence.of(SHORT) <= 12
    evidence.forget()
    assert evidence.of(SHORT) == evidence.of(LONG) == 0


def _known(youngest: float, oldest: float, unit: float = 1.0) -> BeatPhase:
    return BeatPhase(UNIT_SLIP, unit, youngest, oldest)


def test_the_first_notification_says_only_that_a_beat_is_younger_than_the_next() -> None:
    """Within what arrival wavers."""
    phase = BeatPhase(UNIT_SLIP, 1.0)
    assert not phase.take(1.0, 0.9, 0.5)
    assert (phase.youngest, phase.oldest) == pytest.approx((-0.03, 0.53))


def test_a_notification_bounds_the_age_of_its_newest_beat() -> None:
    """It ages by the time that passed, less the RR that were told, and lies within one beat."""
    phase = _known(0.1, 0.3)
    assert not phase.take(1.0, 0.9, 0.35)
    assert (phase.youngest, phase.oldest) == pytest.approx((0.2, 0.38))
    slipped = _known(0.1, 0.3, unit=1.1)
    assert not slipped.take(1.0, 0.9, 0.5)
    assert (slipped.youngest, slipped.oldest) == pytest.approx((0.11, 0.31))


@pytest.mark.parametrize(("rr_s", "too_soon"), [(1.32, False), (1.34, True)])
def test_a_beat_that_has_not_happened_yet_speaks_against_the_unit(rr_s, too_soon) -> None:
    """By more than arrival wavers; then nothing is known any more but that it is the newest."""
    phase = _known(0.1, 0.3)
    assert phase.take(1.0, rr_s, 0.5) is too_soon
    assert phase.youngest == pytest.approx(-0.03)
    assert phase.oldest == pytest.approx(0.53 if too_soon else -0.02)


@pytest.mark.parametrize(("passed_s", "beats"), [(1.0, 1), (1.5, 2), (2.5, 4)])
def test_beats_left_out_make_the_newest_seem_older_by_whole_ones(passed_s, beats) -> None:
    """They are taken off, within what each varies by; that speaks for nothing."""
    phase = _known(0.1, 0.2)
    assert not phase.take(passed_s, 0.5, 0.5)
    assert phase.youngest == pytest.approx(passed_s - 0.4 - beats * (0.5 + 0.015))
    assert phase.oldest == pytest.approx(passed_s - 0.3 - beats * (0.5 - 0.015))


def test_lost_notifications_took_whole_beats_with_them() -> None:
    """Their number is the one that leaves the newest younger than a beat."""
    phase = _known(0.1, 0.2)
    phase.skip(3.0, 1.0, 0.5)
    assert phase.youngest == pytest.approx(0.1 - 4 * 0.015)
    assert phase.oldest == pytest.approx(0.2 + 4 * 0.015)
    unknown = BeatPhase(UNIT_SLIP, 1.0)
    unknown.skip(3.0, 1.0, 0.5)
    assert unknown.oldest < unknown.youngest


def test_a_notification_off_its_time_bounds_nothing() -> None:
    """Its time and beats count all the same."""
    evidence = UnitEvidence((SHORT,), UNIT_SLIP)
    for _ in range(3):
        evidence.take(0, 1.0, 1.0, [512, 512])
    evidence.take(0, 1.3, 1.0, [512, 512])
    evidence.take(0, 0.7, 1.0, [512, 512])
    assert evidence.of(SHORT) == 0


@pytest.mark.parametrize(
    ("then_s", "too_soon"),
    [
        ([0.62], False),  # the newest beat is 0.36 s old at most, and arrival wavers by 0.03 s
        ([0.60], True),
        ([1.38, 0.6], False),  # and 0.14 s at least: younger than a beat of 0.5 s after 0.38 s …
        ([1.40, 0.6], True),  # … and not after 0.40 s: then one more has come
    ],
)
def test_beats_behind_lost_notifications_count_in_seconds(then_s, too_soon) -> None:
    """The sum of their RR is taken from the time that passed, as of all others."""
    # In half the unit the beats are never too soon: what is counted is told by the right one.
    evidence, beats = UnitEvidence((0.5,), UNIT_SLIP), [512, 512]
    for passed_s in (1.0, 1.46, 0.67):  # any age, then above 0.43 s, then 0.1 to 0.2 s
        evidence.take(0, passed_s, passed_s, beats)
    evidence.skip(3.1, beats)
    for passed_s in then_s:
        evidence.take(0, passed_s, passed_s, beats)
    assert evidence.of(0.5) == too_soon
