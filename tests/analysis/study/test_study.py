"""A study from rows: sensors, comparisons, rankings, and what may be claimed."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.report.study.comparison_words import claim_sentence, comparison_sentence
from analysis.report.study.words import sensor_sentences, verdict_of
from analysis.study.comparison import Kind, Standing
from analysis.study.ranking import not_separated
from analysis.study.sensors import WITH_FAILURES
from analysis.study.statistic import MAE
from analysis.study.study import study_of
from tests.standins.study_rows import sensor_row, session_row, sessions

ACTIVITY = "rowing ergometer"
BETTER = [1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8, 1.1, 1.0]
WORSE = [3.1, 2.9, 3.4, 3.0, 2.7, 3.2, 3.3, 2.8, 3.0]


def compared(rows):
    """The one comparison of two sensors, or of two firmwares."""
    (found,) = (one for one in activity_of(rows).comparisons if one.kind is not Kind.ARMS)
    return found


def activity_of(rows, **options):
    return study_of(rows, **options).activity(ACTIVITY)


@pytest.mark.parametrize(
    ("count", "standing"),
    [(2, Standing.TOO_FEW), (5, Standing.TOO_FEW), (6, Standing.DIFFERS), (9, Standing.DIFFERS)],
)
def test_a_difference_is_claimed_from_six_sessions_on(count, standing):
    """However large a difference is, five sessions make no claim of it."""
    rows = sessions({"Sorrel": BETTER[:count], "Tansy": WORSE[:count]})
    found = compared(rows)
    assert (found.closer, found.other, found.standing) == ("Sorrel", "Tansy", standing)
    assert found.closer_in == count
    assert (claim_sentence(found) is not None) is (standing is Standing.DIFFERS)
    assert "for these wearers" in (claim_sentence(found) or "for these wearers")


def test_six_wearers_speak_of_people_and_are_then_the_units():
    """With six wearers the claim is about people; six of five sessions each are 6 units, not 30."""
    wearers = [f"W{n}" for n in range(6)]
    rows = sessions({"Sorrel": BETTER * 2, "Tansy": WORSE * 2}, wearers=wearers)
    found = compared(rows)
    assert found.about_people
    assert found.steady_difference.effective_count == 6
    assert "for people such as these 6 wearers" in claim_sentence(found)


def test_failures_stand_apart_and_take_the_interval_with_them():
    """Both figures are given; that with the failures has no interval, and the count has."""
    rows = sessions({"Sorrel": [*BETTER[:7], 15.0, 15.0], "Tansy": WORSE})
    result = activity_of(rows).sensor("Sorrel")
    mean = result.every.of(MAE)
    assert mean.value == pytest.approx(np.mean([*BETTER[:7], 15.0, 15.0]))
    assert (mean.interval, mean.caution) == (None, WITH_FAILURES)
    assert result.without_failures.of(MAE).interval is not None
    assert (result.failures.count, result.failures.sessions) == (2, 9)
    found = compared(rows)
    assert found.difference.interval is None
    assert found.difference.value < 0 < found.steady_difference.value
    claim = claim_sentence(found)
    assert "in which neither lost the heart" in claim
    assert "Sorrel lost the heart in 2 of 9 (at most 60 %)" in claim


def test_a_sensor_that_always_fails_is_not_compared():
    """Without a session in which neither lost the heart there is no difference to speak of."""
    rows = sessions({"Sorrel": [15.0] * 6, "Tansy": BETTER[:6]})
    found = compared(rows)
    assert not found.differs
    assert "no session in which neither lost the heart" in comparison_sentence(found)


def test_two_sessions_are_drawn_and_not_claimed():
    """Order, intervals and points are there for two sessions; what is withheld is the claim."""
    one = activity_of(sessions({"Sorrel": BETTER[:2], "Tansy": WORSE[:2]}))
    assert [place.name for place in one.ranking.places] == ["Sorrel", "Tansy"]
    assert all(place.mean.interval is not None for place in one.ranking.places)
    assert not one.ranking.is_claimed
    assert one.ranking.groups == (("Sorrel", "Tansy"),)
    assert "nothing is claimed" in verdict_of(one).head


def test_a_ranking_is_claimed_from_eight_sessions_on_and_groups_what_overlaps():
    """Separated sensors stand alone, the others in one group, by the statistic that is chosen."""
    third = [value + (0.4 if n % 2 else -0.35) for n, value in enumerate(WORSE)]
    rows = sessions({"Sorrel": BETTER, "Tansy": WORSE, "Bracken": third})
    ranking = activity_of(rows).ranking
    assert ranking.is_claimed
    assert ranking.places[0].name == "Sorrel"
    assert [set(group) for group in ranking.groups] == [{"Tansy", "Bracken"}]
    assert activity_of(rows, sort="r").ranking.statistic == "pearson_r"
    assert not activity_of([*rows[:7]]).ranking.is_claimed


def test_groups_are_the_largest_that_hold_together():
    """A and C differ, B is like both: two groups, each with B."""
    clear = compared(sessions({"A": BETTER, "C": WORSE}))
    assert clear.differs
    assert not_separated(["A", "B", "C"], [clear]) == [("A", "B"), ("B", "C")]


def test_firmwares_are_not_pooled_and_compared_on_their_different_sessions():
    """Old and new firmware are two sensors, told apart by exchanged labels."""
    rows = [
        session_row(n, [sensor_row(firmware="7.4" if n < 7 else "8.0", mae_bpm=mae)])
        for n, mae in enumerate(WORSE[:7] + BETTER[:7])
    ]
    one = activity_of(rows)
    assert [result.name for result in one.sensors] == ["Sorrel 7.4", "Sorrel 8.0"]
    found = compared(rows)
    assert (found.kind, found.paired, found.closer) == (Kind.FIRMWARE, False, "Sorrel 8.0")
    assert found.differs
    assert "On different sessions, which tells less" in claim_sentence(found)


@pytest.mark.parametrize("swapped", [False, True])
def test_firmwares_worn_by_different_wearers_are_confounded(swapped):
    """Where each wearer wore one firmware, or one of them more often, nothing is claimed of it."""
    wearers = ["W1"] * 6 + ["W2"] * 6
    if swapped:
        wearers[0], wearers[-1] = "W2", "W1"
    rows = [
        session_row(
            n, [sensor_row(firmware="7.4" if n < 6 else "8.0", mae_bpm=mae)], wearer=wearers[n]
        )
        for n, mae in enumerate(WORSE[:6] + BETTER[:6])
    ]
    found = compared(rows)
    assert found.standing is Standing.CONFOUNDED
    assert claim_sentence(found) is None
    assert "no claim about the firmware" in comparison_sentence(found)


def test_the_sides_of_one_sensor_are_compared():
    """Sessions on the left against those on the right, where it was worn on both."""
    rows = [
        session_row(n, [sensor_row(placement=f"{'left' if n % 2 else 'right'} wrist", mae_bpm=mae)])
        for n, mae in enumerate(v for pair in zip(BETTER, WORSE, strict=True) for v in pair)
    ]
    (arms,) = activity_of(rows).comparisons
    assert (arms.kind, arms.closer) == (Kind.ARMS, "Sorrel (right)")
    assert arms.differs


def test_absence_of_failures_is_spoken_of_from_twelve_sessions_on():
    """Below twelve the bound is given as what cannot be excluded, from there on as a bound."""
    few, enough = (
        " ".join(sensor_sentences(activity_of(sessions({"Sorrel": [2.0] * n})).sensor("Sorrel")))
        for n in (11, 12)
    )
    assert "11 sessions cannot speak of failures (up to 24 % are possible)" in few
    assert "at most 22 % of such sessions are failures (one-sided 95 %)" in enough


def test_a_control_takes_the_sessions_out_of_an_unpaired_comparison():
    """Relative to a sensor worn in all, how hard a session was does not widen the difference."""
    hard = [1.0, 9.0, 4.0, 7.0, 2.0, 5.0]
    rows = [
        session_row(
            10 * half + n,
            [
                sensor_row("Sorrel", firmware=firmware, mae_bpm=mae + 1.0 + half + 0.01 * n),
                sensor_row("Bracken", placement="left upper arm", mae_bpm=mae),
            ],
        )
        for half, firmware in enumerate(("7.4", "8.0"))
        for n, mae in enumerate(hard)
    ]
    (one,) = study_of(rows, control="Bracken").activities
    found = next(each for each in one.comparisons if each.kind is Kind.FIRMWARE)
    assert found.control == "Bracken"
    assert found.relative.value == pytest.approx(1.0)
    plain, beside = (
        each.interval[1] - each.interval[0] for each in (found.steady_difference, found.relative)
    )
    assert beside < plain / 50
    assert "relative to Bracken by 1.0" in comparison_sentence(found)
    assert study_of(rows).activities[0].comparisons[0].relative is None
