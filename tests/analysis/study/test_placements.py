"""Sensor and side of the body: what is one, what swaps separate, and the plan that gets there."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from analysis.report.study.placement_words import pairing_sentence
from analysis.study.comparison import Kind, Standing
from analysis.study.placements import confounded_with_side, crossover
from analysis.study.study import study_of
from replay.placement import side
from tests.standins.study_rows import LOST, sensor_row, session_row

NEEDS = ("pandas", "statsmodels")  # imported where one test needs them

ACTIVITY = "rowing ergometer"
WRISTS = ("left wrist", "right wrist")


def worn(sides, *, sensor=1.0, left=0.0, wearers=("W1",), start=0, seed=1):
    """Sessions in which Sorrel is on these sides and Tansy opposite; Tansy's MAE is larger by
    ``sensor``, that of the left wrist by ``left``.
    """
    random = np.random.default_rng(seed)
    rows = []
    for number, which in enumerate(sides, start):
        first, second = WRISTS if which == "left" else WRISTS[::-1]
        hard, noise = random.normal(4, 0.5), random.normal(0, 0.1, 2)
        pair = [
            sensor_row(
                "Sorrel", placement=first, mae_bpm=hard + left * (which == "left") + noise[0]
            ),
            sensor_row(
                "Tansy", placement=second,
                mae_bpm=hard + sensor + left * (which == "right") + noise[1],
            ),
        ]  # fmt: skip
        rows.append(session_row(number, pair, wearer=wearers[number % len(wearers)]))
    return rows


def of(rows):
    return study_of(rows).activity(ACTIVITY)


def compared(rows):
    (found,) = (one for one in of(rows).comparisons if one.kind is Kind.SENSORS)
    return found


@pytest.mark.parametrize("sensor", [1.0, -1.0])
def test_two_sensors_always_on_the_same_arms_make_no_claim(sensor):
    """Nine sessions of a clear difference say nothing of the sensors, and what would."""
    rows = worn(["left"] * 9, sensor=sensor)
    found = compared(rows)
    assert found.standing is Standing.CONFOUNDED
    its_side = {"Sorrel": "left", "Tansy": "right"}[found.closer]
    assert found.confounded.startswith(f"always on the {its_side} ")
    (pairing,) = of(rows).pairings
    assert (pairing.first_left, pairing.first_right) == (9, 0)
    assert "sensor and arm cannot be told apart" in pairing_sentence(pairing)
    assert len(of(rows).plan) == 3


@pytest.mark.parametrize(("swaps", "standing"), [(2, Standing.CONFOUNDED), (3, Standing.DIFFERS)])
def test_three_swaps_let_the_sensor_be_named(swaps, standing):
    """With three sessions of each arrangement the sensors' own difference may be claimed."""
    assert compared(worn(["left"] * 6 + ["right"] * swaps)).standing is standing


def test_a_difference_of_the_arms_is_no_difference_of_the_sensors():
    """Equal sensors on unequal arms, unevenly swapped: the arm's effect is taken out."""
    rows = worn(["left"] * 9 + ["right"] * 3, sensor=0.0, left=2.0)
    assert not compared(rows).differs
    (pairing,) = of(rows).pairings
    assert pairing.crossover.left.interval[0] > 1.5
    low, high = pairing.crossover.sensor.interval
    assert low < 0 < high


def test_the_separated_effects_are_those_of_a_linear_model():
    """Half sum and half difference of the arrangements are least squares (statsmodels OLS)."""
    import pandas as pd
    import statsmodels.formula.api as smf

    random = np.random.default_rng(3)
    first_left, first_right = random.normal(2, 1, 5), random.normal(-1, 1, 4)
    table = pd.DataFrame(
        {"d": np.concatenate([first_left, first_right]), "arm": np.repeat([1.0, -1.0], [5, 4])}
    )
    fit = smf.ols("d ~ arm", table).fit()
    found = crossover(first_left, first_right)
    ends = fit.conf_int()
    assert found.sensor.value == pytest.approx(fit.params["Intercept"])
    assert found.sensor.interval == pytest.approx(tuple(ends.loc["Intercept"]))
    assert found.left.value == pytest.approx(fit.params["arm"])
    assert found.left.interval == pytest.approx(tuple(ends.loc["arm"]))


def test_sensors_on_different_parts_are_compared_as_worn():
    """A wrist and an upper arm are what these sensors are made for: no side stands between."""
    places = [("left wrist", "right upper arm")] * 8
    assert confounded_with_side(places, np.ones(8)) == ""
    assert confounded_with_side([], np.ones(0)) == ""


def test_the_plan_separates_with_the_fewest_sessions():
    """After the planned sessions, and not one earlier, every arrangement has its three."""
    rows = worn(["left"] * 4 + ["right"])
    plan = of(rows).plan
    assert [dict(line.placements) for line in plan] == [
        {"Sorrel": "right wrist", "Tansy": "left wrist"}
    ] * 2
    done = worn(["left"] * 4 + ["right"] * 3)
    assert of(done).plan == ()


def test_the_plan_of_a_new_study_is_balanced_in_order_and_wearers():
    """Arrangements alternate, wearers take turns, and each wearer has both as often."""
    wearers = ("W1", "W2")
    rows = [
        session_row(n, [sensor_row("Sorrel"), sensor_row("Tansy", placement="chest")], wearer=who)
        for n, who in enumerate(wearers)
    ]
    rows += [session_row(n + 2, [sensor_row("Tansy")], wearer=who) for n, who in enumerate(wearers)]
    plan = of(rows).plan
    assert len(plan) == 6
    assert [line.wearer for line in plan] == ["W1", "W2"] * 3
    sides = [side(dict(line.placements)["Sorrel"]) for line in plan]
    assert Counter(sides) == {"left": 3, "right": 3}
    for who in wearers:
        own = Counter(s for s, line in zip(sides, plan, strict=True) if line.wearer == who)
        assert abs(own["left"] - own["right"]) <= 1


def test_sessions_with_a_lost_heart_are_planned_again():
    """A session in which one of the two lost the heart tells nothing of arm and sensor."""
    rows = worn(["left", "right"] * 3)
    tansy = sensor_row("Tansy", placement="right wrist", **LOST)
    rows[0] = session_row(0, [sensor_row("Sorrel", placement="left wrist"), tansy])
    assert [dict(line.placements)["Sorrel"] for line in of(rows).plan] == ["left wrist"]


def test_a_sensor_alone_on_its_part_changes_sides():
    """Without a partner a sensor is planned on its other side until both have three sessions."""
    rows = [session_row(n, [sensor_row("Bracken", placement="right upper arm")]) for n in range(5)]
    assert [line.placements for line in of(rows).plan] == [(("Bracken", "left upper arm"),)] * 3


def test_three_sensors_on_two_wrists_all_come_apart():
    """Each two of three wrist sensors get their sessions, never two sensors on one wrist."""
    rows = [session_row(n, [sensor_row(label) for label in ("Sorrel",)]) for n in range(2)] + [
        session_row(9, [sensor_row("Tansy")]),
        session_row(10, [sensor_row("Bracken")]),
    ]
    plan = of(rows).plan
    assert len(plan) == 18
    assert all(len({place for _, place in line.placements}) == 2 for line in plan)
