"""What testers commonly do, and what a study says of it.

Made-up sessions of the usual kinds of study, none of them anybody's.  They test what is said and
what is not, never a number.
"""

from __future__ import annotations

import numpy as np

from analysis.report.study.comparison_words import claim_sentence, comparison_sentence
from analysis.report.study.words import sensor_sentences, verdict_of
from analysis.study.comparison import Kind, Standing
from analysis.study.study import study_of
from tests.standins.study_rows import LOST, sensor_row, session_row


def said(study, activity):
    return " ".join(verdict_of(study.activity(activity)).sentences)


def sensor_said(study, activity, name):
    return " ".join(sensor_sentences(study.activity(activity).sensor(name)))


def compared(study, activity, kind=Kind.SENSORS):
    (found,) = (one for one in study.activity(activity).comparisons if one.kind is kind)
    return found


def test_three_rides_with_two_sensors_at_the_same_r_tell_nothing_apart():
    """Three rides indoors, both at r = .85: no claim, one group, the picture and what it takes."""
    rows = [
        session_row(n, [
            sensor_row("Sorrel", pearson_r=0.85 + move, mae_bpm=6.0 - 10 * move),
            sensor_row("Tansy", pearson_r=0.85 - move, mae_bpm=6.1 + 10 * move,
                       placement="right wrist"),
        ], activity="indoor cycling")
        for n, move in enumerate((0.02, -0.03, 0.01))
    ]  # fmt: skip
    study = study_of(rows, sort="r")
    found = compared(study, "indoor cycling")
    assert found.standing is Standing.TOO_FEW
    assert found.needed is not None
    ranking = study.activity("indoor cycling").ranking
    assert not ranking.is_claimed
    assert [set(group) for group in ranking.groups] == [{"Sorrel", "Tansy"}]
    assert "cannot be told apart" in comparison_sentence(found)
    assert all(place.mean.interval is not None for place in ranking.places)


def test_sister_devices_always_on_the_same_wrists_are_confounded_with_them():
    """Nine rides outdoors, r .64 against .47, never swapped: no claim, and a plan of swaps."""
    random = np.random.default_rng(1)
    rows = [
        session_row(n, [
            sensor_row("Sorrel A", placement="left wrist", pearson_r=0.64 + a, mae_bpm=7.0 - 5 * a),
            sensor_row("Sorrel B", placement="right wrist", pearson_r=0.47 + b,
                       mae_bpm=9.5 - 5 * b),
        ], activity="outdoor cycling")
        for n, (a, b) in enumerate(random.normal(0, 0.05, (9, 2)))
    ]  # fmt: skip
    study = study_of(rows)
    found = compared(study, "outdoor cycling")
    assert found.standing is Standing.CONFOUNDED
    assert claim_sentence(found) is None
    assert "no claim about the sensors" in comparison_sentence(found)
    plan = study.activity("outdoor cycling").plan
    assert [dict(line.placements)["Sorrel A"] for line in plan] == ["right wrist"] * 3
    assert "sensor and arm cannot be told apart" in said(study, "outdoor cycling")


def test_two_strength_sessions_show_low_readings_at_high_rates_and_claim_nothing():
    """Low rates on the line, high ones below it, efforts missed: said; and no "differs"."""
    rows = [
        session_row(n, [
            sensor_row("Sorrel", **dict(LOST) | {"slope": -0.35 + 0.02 * n, "judged": 8,
                       "followed": 2, "missed": 5, "blunted": 1}),
            sensor_row("Bracken", placement="right upper arm", mae_bpm=2.0),
        ], activity="kettlebell sets")
        for n in range(2)
    ]  # fmt: skip
    study = study_of(rows)
    words = sensor_said(study, "kettlebell sets", "Sorrel")
    assert "negative proportional bias in all 2 sessions: it reads low at high rates" in words
    assert "followed 4 of 16 efforts" in words
    assert "10 missed" in words
    assert not compared(study, "kettlebell sets").differs
    assert "nothing is claimed" in verdict_of(study.activity("kettlebell sets")).head


def test_errors_to_both_sides_are_not_hidden_by_their_bias():
    """Mostly low in one activity, on both sides in another: the bias alone hides the second."""
    rows = []
    for n, wobble in enumerate((0.1, -0.2, 0.3)):
        low = sensor_row(bias_bpm=-5.5 + wobble, mae_bpm=6.0)
        both = sensor_row(bias_bpm=wobble, mae_bpm=6.0)
        rows.append(session_row(n, [low], activity="stair climb"))
        rows.append(session_row(10 + n, [both], activity="trail running"))
    study = study_of(rows)
    assert "errors are mostly low" in sensor_said(study, "stair climb", "Sorrel")
    words = sensor_said(study, "trail running", "Sorrel")
    assert "errors lie on both sides" in words
    assert "would hide an MAE of 6.0 bpm" in words


def test_easy_and_hard_activities_are_never_pooled_unasked():
    """Indoors, outdoors and strength each have their own figures; nothing pools them."""
    errors = {"indoor cycling": 1.5, "outdoor cycling": 5.0, "kettlebell sets": 9.0}
    rows = [
        session_row(10 * place + n, [sensor_row(mae_bpm=mae + 0.1 * n)], activity=activity)
        for place, (activity, mae) in enumerate(errors.items())
        for n in range(4)
    ]
    study = study_of(rows)
    for activity, mae in errors.items():
        result = study.activity(activity).sensor("Sorrel")
        assert result.every.sessions == 4
        assert abs(result.every.means["mae_bpm"].value - mae - 0.15) < 1e-9
    assert len(study.activities) == 3


def test_a_slightly_better_algorithm_on_other_sessions_is_not_settled():
    """Old against new on different rides: not settled, and the range of rides that would do."""
    random = np.random.default_rng(4)
    rows = [
        session_row(n, [sensor_row(firmware=firmware, mae_bpm=float(random.normal(mean, 1)))])
        for n, (firmware, mean) in enumerate([("7.4", 5.0)] * 7 + [("8.0", 4.6)] * 7)
    ]
    found = compared(study_of(rows), "rowing ergometer", Kind.FIRMWARE)
    assert found.standing is Standing.NOT_SETTLED
    words = comparison_sentence(found)
    assert "cannot be told apart" in words
    assert "more sessions of each would settle it" in words
    assert found.needed.high is None or found.needed.high > found.needed.low


def test_a_sensor_begun_in_mid_session_has_lost_coverage_not_agreement():
    """A late start is told as coverage; the error of what it did measure stays as it is."""
    late = sensor_row("Tansy", placement="right wrist", late_start_s=1200, coverage_percent=55.0)
    rows = [session_row(n, [sensor_row("Sorrel"), late]) for n in range(3)]
    study = study_of(rows)
    tansy = study.activity("rowing ergometer").sensor("Tansy")
    assert "no value for the first 20 min in 3 of 3 sessions: coverage lost, not error" in (
        sensor_said(study, "rowing ergometer", "Tansy")
    )
    assert tansy.every.means["mae_bpm"].value == 3.0
    assert tansy.every.means["coverage_percent"].value == 55.0
    assert tansy.failures.count == 0
