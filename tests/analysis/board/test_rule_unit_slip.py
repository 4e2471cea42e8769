"""RR in another unit, told from beats left out and from lost notifications."""

from __future__ import annotations

import random

import pytest

from analysis.board.rules.unit_slip import UnitSlip
from replay.channels import decode
from replay.payloads import encode_heart_rate
from tests.standins.session_events import plan_of, play, strap


def _rule(session):
    return [UnitSlip(session, session.reference)]


def _events(*, factor=1.0, lost=0.0, left_out=0.0, seconds=400, slip_from_s=0.0, seed=3, low=1.0):
    source = random.Random(seed)
    rr = [0.45 + source.gauss(0, 0.01) for _ in range(round(seconds / 0.45))]
    out = []
    for event in strap(rr):
        if source.random() < lost:
            continue
        reading = decode(event.channel, event.payload)
        slipped = factor if event.t_ns >= slip_from_s * 1e9 else 1.0
        kept = [round(one * slipped) for one in reading.rr if source.random() >= left_out]
        out.append(event._replace(payload=encode_heart_rate(round(reading.bpm * low), rr=kept)))
    return out


def _warnings(until_s=390, **how):
    return play(plan_of(), _events(**how), until_s=until_s, rules=_rule).warnings


@pytest.mark.parametrize("factor", [1000 / 1024, 1.024])
@pytest.mark.parametrize(("lost", "by_s"), [(0.0, 125), (0.03, 300), (0.06, 300), (0.1, 300)])
def test_a_slip_is_found_from_the_first_second_on(factor, lost, by_s) -> None:
    """In two minutes, and within five where up to one in ten notifications is lost."""
    (warning,) = _warnings(factor=factor, lost=lost)
    assert 100 <= warning.start_s <= by_s
    assert warning.since_s <= 5 or lost
    assert "another unit" in warning.cause
    assert ("1/1.024" in warning.cause) is (factor < 1)
    needed = "1.024" if factor < 1 else "0.977"
    assert f"only after multiplying them by {needed}, so" in warning.advice
    assert warning.measures[0].threshold == pytest.approx(float(needed), abs=5e-4)
    assert warning.measures[1].value == pytest.approx(factor, abs=0.012)


@pytest.mark.parametrize("left_out", [0.0, 0.024, 0.05, 0.1])
@pytest.mark.parametrize("lost", [0.0, 0.05])
def test_beats_left_out_are_no_unit(left_out, lost) -> None:
    """An optical sensor that leaves out up to a tenth of its beats has the right unit."""
    for seed in (3, 4, 5):
        assert _warnings(left_out=left_out, lost=lost, seed=seed) == ()


@pytest.mark.parametrize("seed", range(3, 11))
def test_what_goes_missing_in_whole_beats_is_no_slip(seed) -> None:
    """Even where as many beats are left out as a slip takes away, and the bpm reads as low."""
    assert _warnings(left_out=0.024, low=1 / 1.024, seed=seed) == ()


@pytest.mark.parametrize("left_out", [0.03, 0.06])
def test_a_slip_is_found_beside_beats_left_out(left_out) -> None:
    """By when its beats come, though the sum of its RR is none, and the sentence says so."""
    (warning,) = _warnings(factor=1 / 1.024, left_out=left_out, seconds=620, until_s=600)
    assert "come as if each were 1/1.024 of the beat, besides beats that are left out" in (
        warning.cause
    )
    assert warning.since_s > 0
    evidence = warning.measures[-1]
    assert evidence.value >= evidence.threshold == 8


def test_rr_that_are_too_long_are_not_told_from_beats_left_out_by_when_they_come() -> None:
    """Both make the newest beat seem older: it takes the sum of the RR as well."""
    assert _warnings(factor=1.024, left_out=0.04, seconds=620, until_s=600) == ()


@pytest.mark.parametrize(("factor", "found"), [(1.012, False), (1.045, False), (1.02, True)])
def test_only_the_slip_between_the_two_units_is_one(factor, found) -> None:
    """RR that are too long by another factor are not called another unit."""
    assert bool(_warnings(factor=factor)) is found


def test_a_slip_that_ends_is_cleared() -> None:
    """When the RR fill the time again, for as long as the stretch that is looked at, it ends."""
    events = [e for e in _events(factor=1.024, seconds=620) if e.t_ns < 250e9]
    events += [e for e in _events(seconds=620) if e.t_ns >= 250e9]
    made = []

    def rules(session):
        made[:] = _rule(session)
        return made

    play(plan_of(), events, until_s=240, rules=rules)
    assert made[0].factor == pytest.approx(1 / 1.024)
    (warning,) = play(plan_of(), events, until_s=600, rules=rules).warnings
    assert made[0].factor == 1.0
    assert 290 <= warning.end_s <= 420
    assert warning.cleared == "Its RR fill the time that passes again."


def test_reset_forgets_the_stretch() -> None:
    """What another warning explained counts for nothing afterwards."""
    made = []

    def rules(session):
        made[:] = _rule(session)
        return made

    board = play(plan_of(), _events(factor=1.024), until_s=100, rules=rules)
    made[0].reset()
    assert board.warnings == ()
    assert made[0].factor == 1.0


@pytest.mark.parametrize(("gap_s", "first_s", "last_s"), [(5, 105, 130), (6, 170, 180)])
def test_after_five_missed_notifications_the_account_begins_anew(gap_s, first_s, last_s) -> None:
    """A shorter gap is a lost notification, whose time and beats are left out alike."""
    events = [e for e in _events(factor=1.024) if not 60e9 < e.t_ns < (60 + gap_s) * 1e9]
    (warning,) = play(plan_of(), events, until_s=300, rules=_rule).warnings
    assert first_s <= warning.start_s <= last_s


@pytest.mark.parametrize(
    ("lost_at_s", "first_s", "last_s"),
    [((50, 70), 105, 130), ((50, 60, 70), 150, 175), (range(5, 400, 10), 245, 265)],
)
def test_where_notifications_were_lost_a_longer_stretch_is_asked_for(
    lost_at_s, first_s, last_s
) -> None:
    """Two lost in 105 s are passed over; three leave first, or 200 s are heard."""
    events = [e for e in _events(factor=1.024) if round(e.t_ns / 1e9) not in lost_at_s]
    (warning,) = play(plan_of(), events, until_s=390, rules=_rule).warnings
    assert first_s <= warning.start_s <= last_s
