"""The sentences of the verdict: made of the numbers, and no stronger than their intervals."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from analysis.report.verdict import sensor_verdict, session_verdict
from analysis.session.compute import compute_record
from analysis.session.load import SensorSeries, SessionData
from analysis.session.record import StandingFault, named_efforts
from analysis.session.standing import standing_faults
from analysis.statistics.closer import closer_of
from analysis.statistics.estimate import Estimate
from analysis.statistics.pairing import NO_VALUE, grid_values
from replay.event import NS_PER_S
from replay.plan import Plan, PlannedSensor


def series(number, label, role, values):
    """A sensor that sends these bpm once a second; NaN sends nothing."""
    known = np.flatnonzero(np.isfinite(values))
    t_ns = (known * NS_PER_S).astype(np.int64)
    mbpm = np.round(values[known] * 1000).astype(np.int32)
    sensor = PlannedSensor(label=label, role=role, name=label)
    grid = grid_values(t_ns, mbpm, len(values), sensor.hold_ns)
    return SensorSeries(number, sensor, t_ns, mbpm, grid, len(known), 0, 0, "", "")


def session(reference, **tests):
    every = [series(1, "Yarrow", "reference", reference)]
    every += [
        series(number, label, "test", values)
        for number, (label, values) in enumerate(tests.items(), 2)
    ]
    plan = Plan(
        wearer="W1", activity="rowing ergometer", sensors=tuple(one.sensor for one in every)
    )
    return SessionData(
        plan=plan,
        duration_ns=(len(reference) - 1) * NS_PER_S,
        seconds=len(reference),
        sensors={one.number: one for one in every},
        markers=(),
    )


def verdict(data, usable=100.0, closer=()):
    record = compute_record(data)
    record = replace(record, reference_usable_percent=usable, closer=tuple(closer))
    each = [sensor_verdict(record, one) for one in record.sensors]
    sentences = session_verdict(record)
    return sentences[-3:], each, record


@pytest.fixture
def workout():
    """Six efforts in half an hour, as bpm a second, and a draw of unrest."""
    rng = np.random.default_rng(5)
    work = np.repeat(([0.0] * 120 + [1.0] * 120) * 7 + [0.0] * 120, 1)
    bpm = np.empty(len(work))
    level = 0.0
    for second, target in enumerate(work):
        level += (target - level) / 25
        bpm[second] = 100 + 65 * level
    return bpm + rng.normal(0, 0.4, len(bpm)), rng


def test_a_sentence_each(workout):
    """The session's verdict is four sentences, five with a standing fault, each ending once."""
    bpm, rng = workout
    record = compute_record(session(bpm, Sorrel=bpm + rng.normal(1, 2, len(bpm))))
    fault = StandingFault(2, WarningKind.RELAY, 9, 1800, "Sorrel only repeats Yarrow.")
    for standing, count in (((), 4), ((fault,), 5)):
        sentences = session_verdict(replace(record, standing=standing))
        assert len(sentences) == count
        for sentence in sentences:
            assert re.fullmatch(r"[A-Z].*[^.]\.", sentence)
            assert ". " not in sentence


def test_what_happened_comes_before_any_interval(workout):
    """61 bpm low for 150 s from 3:42 is said first, with seconds beyond 10 and 20, and the loss."""
    bpm, _ = workout
    lost = bpm.copy()
    lost[222:372] -= 61
    record = compute_record(session(bpm, Sorrel=lost, Tansy=bpm))
    assert session_verdict(record)[0] == (
        "Sorrel was 61 bpm low (at most 61) for 2 min 30 s from 3:42, its longest stretch outside "
        "the tolerance, and in all more than 10 bpm off for 2 min 30 s and more than 20 bpm for "
        "2 min 30 s; it lost the heart once, for 8 % of the seconds compared; "
        "Tansy was never outside the tolerance."
    )


def test_a_standing_fault_is_the_first_sentence(workout):
    """A relay and a frozen sensor are named first, are compared with nobody and blunt no effort."""
    bpm, rng = workout
    frozen = bpm + rng.normal(0, 1, len(bpm))
    frozen[:600] = 120
    half = 100 + 0.6 * (bpm - 100)
    data = session(bpm, Sorrel=bpm, Tansy=frozen, Bracken=half, Yew=bpm + rng.normal(0, 1, 1800))
    cause = "Bracken only repeats Sorrel."
    warnings = [
        SensorWarning(at, kind, sensor, Severity.TEST_FAULT, since, since + 9, end, cause, "")
        for at, (kind, sensor, since, end) in enumerate(
            (
                (WarningKind.RELAY, 4, 30, None),
                (WarningKind.FROZEN, 3, 2, 600),
                (WarningKind.FROZEN, 2, 700, 715),
            ),
            1,
        )
    ]
    record = compute_record(data, warnings)
    assert record.barred == {3, 4}
    assert session_verdict(record)[0] == (
        "Tansy stood still for 9 min 58 s from 0:02; Bracken only repeats Sorrel; those sensors "
        "are not compared with the others."
    )
    assert {(one.closer, one.other) for one in record.closer} <= {(2, 5), (5, 2)}
    assert {one.sensor for one in record.error_variances} <= {1, 2, 5}
    assert record.sensors[2].efforts.blunted.count == 0
    assert compute_record(data).sensors[2].efforts.blunted.count > 0
    assert [f.sensor for f in standing_faults(warnings, 1800)] == [3, 4]


def test_the_share_within_5_bpm_stands_beside_the_other(workout):
    """Wherever the share within the tolerance is told, that within ±5 bpm is too."""
    bpm, rng = workout
    sentences, _, record = verdict(session(bpm, Sorrel=bpm + rng.normal(4, 3, len(bpm))))
    narrow = record.sensors[0].whole.within_5.value
    assert narrow < record.sensors[0].whole.within.value - 5
    assert f"; within ±5 bpm {narrow:.0f} %)" in sentences[0]


def test_numbers_are_those_of_the_result(workout):
    """Share, interval and delay in the sentences are those of the statistics, rounded."""
    bpm, rng = workout
    late = np.concatenate([np.full(5, bpm[0]), bpm[:-5]]) + rng.normal(0, 2, len(bpm))
    data = session(bpm, Sorrel=late)
    sentences, each, result = verdict(data)
    within = result.sensors[0].whole.within
    share, low, high = (
        f"{value:.1f}" if 99.5 <= value < 100 else f"{value:.0f}"
        for value in (within.value, *within.interval)
    )
    told = f"in {share} % of the seconds compared (95 % interval {low} to {high} %;"
    assert told in sentences[0]
    delay = result.sensors[0].delay
    assert delay.value == pytest.approx(5, abs=0.5)
    low, high = delay.interval
    told = (
        f"the delay against Yarrow was {delay.value:.1f} s for Sorrel ({low:.1f} to {high:.1f} s)"
    )
    assert told in sentences[1]
    assert f"Its delay is {delay.value:.1f} s" in each[0]


def test_correlation_is_never_an_argument(workout):
    """However high r is, no sentence names it."""
    bpm, rng = workout
    sentences, each, _ = verdict(session(bpm, Sorrel=bpm + rng.normal(0, 1, len(bpm))))
    words = " ".join([*sentences, *each]).lower()
    assert re.search(r"correlat|pearson|\br\b|concordance|excellent|good|accurate", words) is None


def test_a_share_that_is_not_all_is_not_called_all(workout):
    """One second outside in half an hour is not rounded to 100 %."""
    bpm, _ = workout
    test = bpm.copy()
    test[900] += 60
    sentences, _, _ = verdict(session(bpm, Sorrel=test))
    assert "in 99.9 % of" in sentences[0]


def test_sensors_that_were_never_compared(workout):
    """A sensor without pairs is named; if none has any, nothing is said of closeness."""
    bpm, rng = workout
    never = np.where(np.arange(len(bpm)) < 0, bpm, np.nan)
    sentences, each, _ = verdict(session(bpm, Sorrel=never))
    assert sentences[0] == (
        "Nothing can be said of how close the sensors are, because Sorrel and Yarrow had no value "
        "at the same second."
    )
    assert each[0].startswith("Sorrel was never compared")
    assert "too few values to be judged" in sentences[1]
    both = session(bpm, Sorrel=never, Tansy=bpm + rng.normal(0, 1, len(bpm)))
    sentences, _, _ = verdict(both)
    assert "Tansy lay within" in sentences[0]
    assert sentences[0].endswith("Sorrel and Yarrow had no value at the same second.")


def test_a_steady_session_says_what_cannot_be_said():
    """Without efforts and without movement, neither is made up."""
    rng = np.random.default_rng(1)
    bpm = np.full(1800, 130.0) + rng.normal(0, 1, 1800)
    sentences, each, _ = verdict(session(bpm, Sorrel=bpm + rng.normal(0, 1, 1800)))
    assert sentences[1] == (
        "No effort was found, so whether the sensors follow one cannot be said; "
        "the delay against Yarrow cannot be told for Sorrel."
    )
    assert each[0].endswith("too steady to tell a delay: the heart rate changed too little.")


def test_an_uneven_sensor_has_a_range_of_delays_beside_its_best_shift(workout):
    """Where the delay differs from effort to effort, the sentence tells what was seen as well."""
    bpm, rng = workout
    lag = np.repeat([4, 20, 6, 18, 5, 22, 8, 8], 240)[: len(bpm)]
    seconds = np.arange(len(bpm))
    test = bpm[np.maximum(seconds - lag, 0)] + rng.normal(0, 1, len(bpm))
    data = session(bpm, Sorrel=test)
    detail = compute_record(data).sensors[0]
    assert detail.without_delay is None
    seen = [response.delay_s for response in detail.responses if response.delay_s is not None]
    told = f"{min(seen):.0f} to {max(seen):.0f} s"
    sentences, each, _ = verdict(data)
    assert sentences[1].endswith(f"differed from change to change for Sorrel ({told}).")
    assert f"Its best shift is {detail.delay.value:.1f} s" in each[0]
    assert each[0].endswith(f"At half rise of those it showed, it came {told} after.")


def test_a_lost_reference_limits_what_is_said(workout):
    """If the reference was usable for a third of the session, the last sentence says so."""
    bpm, rng = workout
    data = session(bpm, Sorrel=bpm + rng.normal(0, 1, len(bpm)))
    assert "Yarrow was usable in only 33 % of the session" in verdict(data, usable=33.2)[0][2]
    assert "usable" not in verdict(data, usable=99.0)[0][2]


def test_a_bias_that_may_be_none_is_called_so(workout):
    """An interval that holds 0 is said to hold it; one that does not, is not."""
    bpm, rng = workout
    noise = rng.normal(0, 2, len(bpm))
    noise -= noise.mean()
    _, each, _ = verdict(session(bpm, Sorrel=bpm + noise, Tansy=bpm + noise + 6))
    assert "which cannot be told from no bias" in each[0]
    assert "6.0 bpm above Yarrow" in each[1]
    assert "no bias" not in each[1]


def test_sensors_are_told_apart_only_by_their_interval(workout):
    """A clear difference is named with its interval; one that is not is said to be unclear."""
    bpm, rng = workout
    near, far = bpm + rng.normal(0, 1, len(bpm)), bpm + rng.normal(0, 6, len(bpm))
    data = session(bpm, Sorrel=far, Tansy=near)
    grids = {number: one.grid for number, one in data.sensors.items()}
    kept = np.ones(len(bpm), dtype=bool)
    found = closer_of(grids[1], (2, grids[2]), (3, grids[3]), kept)
    assert (found.closer, found.other, found.is_clear) == (3, 2, True)
    low, high = found.difference.interval
    told = f"({found.difference.value:.1f} bpm less, {low:.1f} to {high:.1f} bpm)"
    assert f"Tansy was closer than Sorrel {told}" in verdict(data, closer=[found])[0][2]
    unclear = replace(found, difference=Estimate(0.1, (-0.2, 0.4)))
    last = verdict(data, closer=[unclear])[0][2]
    assert "In this session, by mean absolute error, Sorrel and Tansy cannot be told apart" in last
    assert "bpm less" not in last


def test_closer_has_the_exact_difference():
    """The difference is that of the mean absolute errors over shared seconds, without gaps."""
    ref = np.array([100, 100, 100, 100, NO_VALUE, 100], dtype=np.int32) * 1000
    one = np.array([103, 97, 103, 97, 100, NO_VALUE], dtype=np.int32) * 1000
    two = np.array([101, 99, 101, NO_VALUE, 100, 100], dtype=np.int32) * 1000
    ref[4] = one[5] = two[3] = NO_VALUE
    kept = np.ones(6, dtype=bool)
    found = closer_of(ref, (2, one), (3, two), kept)
    assert (found.closer, found.other, found.seconds) == (3, 2, 3)
    assert found.difference.value == pytest.approx(2.0)
    assert closer_of(ref, (2, one), (3, two), ~kept) is None


def test_efforts_have_short_names(workout):
    """Efforts and troughs are numbered each on their own, in order of time."""
    bpm, _ = workout
    record = compute_record(session(bpm, Sorrel=bpm))
    names = [name for name, _ in named_efforts(record.efforts)]
    assert names[:4] == ["E1", "T1", "E2", "T2"]
    assert len(names) == len(set(names))
