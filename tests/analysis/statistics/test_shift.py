"""The best shift of two series: where a cost is lowest, and how sure that is."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.shift import CLIP_BPM, clipped_costs, jackknife_half, lowest_place


@pytest.mark.parametrize("at", [3.0, 3.3, 3.75, 5.0])
def test_the_lowest_place_of_a_parabola_is_its_vertex(at: float) -> None:
    """Between whole shifts as well."""
    assert lowest_place((np.arange(9) - at) ** 2) == pytest.approx(at)


@pytest.mark.parametrize("cost", [[0, 1, 2, 3, 4], [4, 3, 2, 1, 0], [1, 1, 1], [0, 0, 0, 0]])
def test_no_place_at_the_ends(cost: list[float]) -> None:
    """A cost that is lowest at an end may be lower beyond it."""
    assert lowest_place(np.array(cost, dtype=float)) is None


@pytest.mark.parametrize(
    "cost", [[1.0, 2, 0, 2, 1], [9.0, 0.5, 5, 5, 0, 5, 5, 0.5, 9], [3.0, 3, 2, 0, 2, 3, 3]]
)
def test_a_notch_that_is_no_parabola_is_lowest_at_its_middle(cost: list[float]) -> None:
    """Where the curve around it is flat or bends down, the whole place is told."""
    assert lowest_place(np.array(cost)) == pytest.approx(len(cost) // 2)


def test_a_lopsided_cost_is_taken_from_its_nearest_three() -> None:
    """A vertex further than one shift from the lowest value is not believed."""
    cost = np.array([0.03, 0.02, 0.01, 0.0, 3, 4, 5])
    place = lowest_place(cost)
    left, middle, right = cost[2:5]
    assert place == pytest.approx(3 - (right - left) / (2 * (left - 2 * middle + right)))
    assert 2 < place < 3


def test_costs_are_cut_and_free_of_a_constant_difference() -> None:
    """|difference − median|, at most 15 bpm, each shift in eight stretches of time."""
    difference = np.tile(np.array([[7.0, 7, 7, 8, 40], [0, 1, 2, 3, 4]]), (1, 2))
    costs = clipped_costs(difference)
    assert costs.clipped[0].tolist() == [0, 0, 0, 1, CLIP_BPM] * 2
    assert costs.clipped[1].tolist() == [2, 1, 0, 1, 2] * 2
    assert costs.stretch.tolist() == [0, 0, 1, 1, 2, 3, 4, 5, 6, 7]
    assert costs.curve.tolist() == pytest.approx([3.2, 1.2])


def test_the_best_shift_and_its_doubt_come_from_the_columns_asked_for() -> None:
    """Two halves of a session with shifts of their own: the whole lies between, and is unsure."""
    places = np.arange(11)[:, None]
    true = np.where(np.arange(800) < 400, 4.0, 6.0)
    noise = np.random.default_rng(1).choice([-1.0, 1.0], 800)
    costs = clipped_costs(noise * (1 + 0.3 * (places - true) ** 2))
    first = costs.best(np.arange(800) < 400)
    assert first is not None
    assert first.place == pytest.approx(4, abs=0.1)
    whole = costs.best()
    assert whole is not None
    assert whole.place == pytest.approx(5, abs=0.1)
    assert len(whole.left_out) == 8
    assert whole.half is not None
    assert whole.half > 0.3
    assert costs.best(np.zeros(800, dtype=bool)) is None
    one = costs.best(np.arange(800) < 50)
    assert one is not None
    assert one.left_out == ()
    assert one.half is None


def test_the_jackknife_is_that_of_a_mean() -> None:
    """Means with each of eight values left out give the t(7) interval of their mean."""
    values = np.array([1.0, 2, 4, 4, 5, 7, 9, 28])
    left_out = tuple((values.sum() - one) / 7 for one in values)
    expected = 2.364624 * values.std(ddof=1) / np.sqrt(8)
    assert jackknife_half(left_out) == pytest.approx(expected, rel=1e-6)
    assert jackknife_half(()) is None


@pytest.mark.parametrize(
    ("cost", "places"),
    [([4.0, 2, 0, 0.1, 0.9], slice(0, 5)), ([3.0, 3, 0, 0.1, 0.2], slice(1, 4))],
    ids=["0.7 beside the lowest", "1.8 beside it"],
)
def test_a_vertex_is_believed_within_one_shift_of_the_lowest(
    cost: list[float], places: slice
) -> None:
    """Within one shift the parabola over all five counts, beyond it that over the nearest three."""
    bend, slope, _ = np.polyfit(np.arange(5)[places], cost[places], 2)
    assert lowest_place(np.array(cost)) == pytest.approx(-slope / (2 * bend))
