"""Rules of the lively heart and of the sensors that come with it."""

from __future__ import annotations

from itertools import pairwise
from statistics import mean, median

import pytest

from live.simulated import KINDS, Trouble, TroubleKind, simulate
from live.simulated.drawn import Drawn
from live.simulated.lively import felt_rate, lively_beats
from live.simulated.noise import Noise
from live.simulated.script import script_for
from live.simulated.wearer import STEP_S, WEARERS, Trace, heart_rate
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import PlanError
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from replay.plan import Plan, PlannedSensor

SEEDS = range(20, 40)
WEARER = WEARERS["W1"]


def intervals(rate: Trace, seconds: float, seed: int) -> list[float]:
    """RR in s of a lively heart."""
    beats = list(lively_beats(WEARER, rate, seconds, Noise(seed)))
    return [(two - one) / 1e9 for one, two in pairwise(beats)]


def swings(rr: list[float]) -> float:
    """Median of longest by shortest of five beats less one."""
    return median(
        max(five) / min(five) - 1 for five in zip(*(rr[n:] for n in range(5)), strict=False)
    )


def plan(*kinds: str, heart: str = "lively", activity: str = "kettlebell sets") -> Plan:
    """A plan with sensors of these kinds, the first the reference."""
    return Plan(
        wearer="W1",
        activity=activity,
        sensors=tuple(
            PlannedSensor(
                label=f"S{n}", role="test" if n else "reference", source="simulated", kind=kind
            )
            for n, kind in enumerate(kinds)
        ),
        invented=True,
        seed=3,
        heart=heart,
    )


def readings(made: Plan, seconds: float, **more) -> dict[int, list[tuple[float, HeartRate]]]:
    """What each sensor sent."""
    found: dict[int, list[tuple[float, HeartRate]]] = {n: [] for n in made.compared}
    for one in simulate(made, seconds, **more):
        if one.channel in HEART_RATE_CHANNELS:
            reading = decode(one.channel, one.payload)
            assert isinstance(reading, HeartRate)
            found[one.sensor].append((one.t_ns / NS_PER_S, reading))
    return found


def test_breath_swings_rr_at_rest_and_fades_with_effort():
    """Swings within five beats are 5 to 25 % at rest and under 3 % at 150 bpm."""
    rest = [swings(intervals(Trace((60.0,)), 300, seed)) for seed in SEEDS]
    hard = [swings(intervals(Trace((150.0,)), 300, seed)) for seed in SEEDS]
    assert all(0.04 <= one <= 0.25 for one in rest), rest
    assert median(rest) > 0.08
    assert all(one < 0.03 for one in hard), hard


def test_a_steady_run_stays_within_two_beats():
    """At a constant rate the heart rate over 15 s stays within 2 bpm in 95 % of the time."""
    rr = intervals(Trace((148.0,)), 1200, 22)
    block, blocks = 37, []
    for at in range(0, len(rr) - block, block):
        blocks.append(60 * block / sum(rr[at : at + block]))
    assert sum(abs(one - 148) <= 2 for one in blocks) >= 0.95 * len(blocks)


def test_the_heart_slows_suddenly_after_efforts(monkeypatch):
    """While the heart comes down RR lengthen by a sixth and more within four beats now and then.

    Without the rebounds this is not seen, so that nothing else is taken for them.
    """
    script = script_for("kettlebell sets")
    rate = heart_rate(WEARER, script, script.duration_s, Noise(3))

    def slowings() -> int:
        found = 0
        for seed in SEEDS:
            beats = list(lively_beats(WEARER, rate, script.duration_s, Noise(seed)))
            rr = [(two - one) / 1e9 for one, two in pairwise(beats)]
            for at in range(6, len(rr) - 3):
                t_s = beats[at] / 1e9
                falls = rate.at(t_s - 10) - rate.at(t_s) > 2.5 and rate.at(t_s) > 105
                # Three beats on either side, so that an early beat and its pause do not count.
                found += falls and min(rr[at : at + 3]) > 1.16 * max(rr[at - 6 : at - 3])
        return found

    assert slowings() >= 10
    monkeypatch.setattr("live.simulated.lively._REBOUNDS_PER_S", 0.0)
    assert slowings() == 0


def test_early_beats_come_with_a_pause():
    """Some wearers have single early beats; with the pause two intervals make about two."""
    early = 0
    for seed in SEEDS:
        rr = intervals(Trace((140.0,)), 600, seed)
        usual = median(rr)
        for before, now, after in zip(rr, rr[1:], rr[2:], strict=False):
            if now < 0.85 * usual and before > 0.9 * usual:
                early += 1
                assert now + after == pytest.approx(2 * usual, rel=0.12)
    assert 20 <= early <= 200


def test_beats_keep_the_rate():
    """Whatever the modulation, the heart beats as often as asked, to 3 %."""
    for bpm in (58.0, 90.0, 150.0):
        rr = [x for seed in SEEDS for x in intervals(Trace((bpm,)), 240, seed)]
        assert 60 / mean(rr) == pytest.approx(bpm, rel=0.03)


def test_what_a_pulse_shows_follows_the_beats():
    """The felt rate is that of the last four intervals, and no older."""
    times = (*range(20), *(20 + 0.5 * n for n in range(40)))
    beats = Drawn(round(t * 1e9) for t in times)
    rate = felt_rate(beats, 40.0)
    assert rate.at(10.0) == pytest.approx(60)
    assert rate.at(30.0) == pytest.approx(120)
    assert len(rate.values) == int(40 / STEP_S) + 2


def test_a_steady_heart_is_what_it_was():
    """Without the word, and with "steady", the same events come as ever."""
    steady = list(simulate(plan("strap", "wrist", heart="steady"), 60))
    assert steady == list(simulate(plan("strap", "wrist", heart="steady"), 60))
    assert steady != list(simulate(plan("strap", "wrist"), 60))
    with pytest.raises(PlanError, match="steady, lively"):
        plan("strap", heart="broken")


def test_sensors_of_a_lively_session_feel_one_heart():
    """Strap and arm sensor stay together in the median, however the heart swings."""
    found = readings(plan("strap", "arm"), 400)
    strap = {int(t): r.bpm for t, r in found[1]}
    apart = [abs(r.bpm - strap[int(t)]) for t, r in found[2] if int(t) in strap and t > 20]
    assert median(apart) <= 4


def test_a_stepping_sensor_stands_still_longer():
    """With a band the shown value stays for longer runs than without."""

    def run(kind: str) -> float:
        values = [r.bpm for _, r in readings(plan("strap", kind), 300)[2]]
        return len(values) / (1 + sum(one != two for one, two in pairwise(values)))

    assert run("wrist-steps") > 1.5 * run("wrist")


def test_a_sensor_that_acquires_shows_none_then_a_wrong_value():
    """The first seconds are 0 bpm, the next a wrong value, for 10 to 35 s together."""
    mine = readings(plan("strap", "wrist-acquires"), 60)[2]
    zero = [t for t, r in mine if r.bpm == 0]
    assert zero
    assert max(zero) < 16
    after = [r.bpm for t, r in mine if max(zero) < t]
    wrong = next(n for n, bpm in enumerate(after) if bpm != after[0])
    assert 4 <= wrong <= 21


def test_cold_hands_are_low_on_both_wrists_at_once():
    """Two cold wrists read some 20 bpm low at the same time, and no longer than that."""
    found = readings(plan("strap", "wrist-cold", "wrist-cold"), 800)

    def low(number: int, start: float, end: float) -> float:
        strap = {int(t): r.bpm for t, r in found[1]}
        return median(strap[int(t)] - r.bpm for t, r in found[number] if start < t < end)

    for number in (2, 3):
        assert low(number, 330, 590) == pytest.approx(20, abs=6)
        assert abs(low(number, 640, 790)) < 6


def test_optical_rr_are_short_by_the_beats_left_out():
    """RR of the arm sensor leave out 3 to 10 % of the time; nothing is doubled."""
    rr = [x for _, r in readings(plan("strap", "arm-rr"), 600)[2] for x in r.rr]
    assert 0.90 <= sum(rr) / 1024 / 600 <= 0.97


def test_the_new_kinds_are_kinds_and_troubles_can_be_given():
    """Each new kind is on the list, and its trouble can be put on any optical sensor."""
    assert {"wrist-steps", "wrist-acquires", "wrist-cold", "arm-rr"} <= set(KINDS)
    troubles = {2: [Trouble(TroubleKind.ACQUIRING, 0, 30, 77.0)]}
    mine = readings(plan("strap", "arm"), 40, troubles=troubles)[2]
    assert {r.bpm for t, r in mine if t < 29} == {77}
