"""What rises and falls say of a delay: one that shows on both, on one only, or on neither."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from analysis.board.rules.delay_sides import least_shown

SECONDS = np.arange(220)
HILL = np.interp(SECONDS, [0, 60, 100, 150, 180, 220], [100, 100, 140, 140, 100, 100])
DELAY_S = 20
ENERGY = 1_000.0


def _mbpm(bpm: npt.NDArray[np.float64]) -> npt.NDArray[np.int32]:
    return np.round(bpm * 1000).astype(np.int32)


def _shown(test_bpm: npt.NDArray[np.float64], energy: float = ENERGY) -> float:
    """Of a sensor that shows this over the same 220 s."""
    return least_shown(_mbpm(HILL), _mbpm(test_bpm)[DELAY_S:], DELAY_S, energy)


def _late_by(delay_s: int) -> npt.NDArray[np.float64]:
    return np.interp(SECONDS - delay_s, SECONDS, HILL)


@pytest.mark.parametrize("level_bpm", [-3.0, 0.0, 3.0])
def test_a_delay_shows_on_both_sides_whatever_the_level(level_bpm: float) -> None:
    """A sensor that is as late as is said shows all of it; so does one that reads 3 less."""
    assert _shown(_late_by(DELAY_S) + level_bpm) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("side", ["rise", "fall"])
def test_one_side_alone_denies_the_delay(side: str) -> None:
    """It follows at once on one side, and holds its value for a while on the other."""
    turned = 125
    late, at_once = _late_by(DELAY_S), HILL
    early, after = (late, at_once) if side == "rise" else (at_once, late)
    assert _shown(np.where(turned > SECONDS, early, after)) < 0.5


def test_half_of_the_delay_shows_half() -> None:
    """The share is that of the difference, so about that of the time."""
    assert 0.35 < _shown(_late_by(DELAY_S // 2)) < 0.65


def test_a_side_on_which_nothing_happens_says_nothing() -> None:
    """A rise alone is judged by itself, a heart at rest not at all."""
    rise = np.interp(SECONDS, [0, 60, 100, 220], [100, 100, 140, 140])
    late = np.interp(SECONDS - DELAY_S, SECONDS, rise)
    told = least_shown(_mbpm(rise), _mbpm(late)[DELAY_S:], DELAY_S, ENERGY)
    assert told == pytest.approx(1.0, abs=1e-6)
    flat = np.full(220, 70_000, np.int32)
    assert least_shown(flat, flat[DELAY_S:], DELAY_S, ENERGY) == 1.0


def test_a_side_needs_its_energy() -> None:
    """Of a fall that is denied, the sum of squares decides whether it counts."""
    denies = np.where(SECONDS < 125, _late_by(DELAY_S), HILL)
    effect = (_late_by(DELAY_S) - HILL)[DELAY_S:]
    fall = float((effect[effect > 0] ** 2).sum())
    assert _shown(denies, fall * 0.9995) < 0.5
    assert _shown(denies, fall * 1.0005) > 0.5


def test_energy_that_is_just_enough_counts() -> None:
    """One step of 10 bpm, seen for 5 s, is 500 bpm² s."""
    reference = np.repeat(np.array([100_000, 110_000], np.int32), 10)
    at_once = reference[5:]
    assert least_shown(reference, at_once, 5, 500.0) < 0.5
    assert least_shown(reference, at_once, 5, 500.001) == 1.0


def test_the_share_is_that_of_a_regression_worked_out_second_by_second() -> None:
    """On hearts and sensors that wander, with effects of any size on either side."""
    rng = np.random.default_rng(4)
    for _ in range(20):
        reference = _mbpm(120 + np.cumsum(rng.normal(0, 0.3, 130)))
        test = _mbpm(120 + np.cumsum(rng.normal(0, 0.3, 120)))
        was, now = (reference[:120] / 1000).tolist(), (reference[10:] / 1000).tolist()
        rows = list(zip(was, now, (test / 1000).tolist(), strict=True))
        level = sum(own - before for before, _, own in rows) / len(rows)
        shares = [1.0]
        for sign in (-1, 1):
            side = [(before - at, own - at - level) for before, at, own in rows]
            side = [(effect, shown) for effect, shown in side if sign * effect > 0]
            energy = sum(effect * effect for effect, _ in side)
            shares += [sum(effect * shown for effect, shown in side) / energy]
        assert least_shown(reference, test, 10, 0.0) == pytest.approx(min(shares), rel=1e-9)


@pytest.mark.parametrize("none", [-1, 0])
def test_gaps_are_left_out(none: int) -> None:
    """Seconds without a value on either side count for nothing, and all of them tell nothing."""
    reference, test = _mbpm(HILL), _mbpm(_late_by(DELAY_S))[DELAY_S:]
    reference[65:75] = none
    test[120:130] = none
    assert least_shown(reference, test, DELAY_S, ENERGY) == pytest.approx(1.0, abs=1e-6)
    assert least_shown(reference, np.full_like(test, none), DELAY_S, ENERGY) == 1.0
