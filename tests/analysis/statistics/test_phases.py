"""Phases and zones of a session: which second belongs to which."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.phases import PHASES, ZONES, phase_masks, zone_masks


def _grid(bpm: np.ndarray) -> np.ndarray:
    return np.rint(1000 * bpm).astype(np.int32)


def test_a_third_begins_at_its_lower_border() -> None:
    """Of a range of 80 to 170 bpm: 110 is of the middle third, 140 of the upper one."""
    ends = [80.0] * 20 + [170.0] * 20  # the 5th and the 95th percentile
    masks = zone_masks(_grid(np.array([109.9, 110, 139.9, 140, *ends])))
    which = [next(name for name in ZONES if masks[name][k]) for k in range(4)]
    assert which == [ZONES[0], ZONES[1], ZONES[1], ZONES[2]]


@pytest.mark.parametrize(("per_s", "phase"), [(0.24, None), (0.26, "rise"), (-0.26, "fall")])
def test_a_rise_is_a_quarter_of_a_bpm_a_second(per_s: float, phase: str | None) -> None:
    """Steeper is a rise or a fall; less steep, the heart rate is level."""
    ramp = 120 + per_s * np.arange(60)
    masks = phase_masks(_grid(ramp))
    middle = [name for name in PHASES if masks[name][30]]
    assert (middle == [phase]) if phase else (middle in (["rest"], ["steady"]))


def test_level_is_rest_below_a_third_of_the_range_and_work_above() -> None:
    """Rest is up to 35 % of the way from the 5th to the 95th percentile: here up to 101 bpm."""
    bpm = np.concatenate([np.full(120, level) for level in (80.0, 100.0, 103.0, 140.0)])
    masks = phase_masks(_grid(bpm))
    assert [masks["rest"][k] for k in (60, 180, 300, 420)] == [True, True, False, False]
    assert [masks["steady"][k] for k in (60, 180, 300, 420)] == [False, False, True, True]


def test_the_slope_looks_ten_seconds_both_ways() -> None:
    """The first and last ten seconds belong to no phase, and 20 s have none at all."""
    there = np.array(list(phase_masks(_grid(np.full(40, 120.0))).values())).any(axis=0)
    assert np.flatnonzero(there).tolist() == list(range(10, 30))
    assert not np.any(list(phase_masks(_grid(np.full(20, 120.0))).values()))


def test_a_gap_of_the_reference_belongs_to_nothing() -> None:
    """Neither zone nor phase holds a second without a reference."""
    grid = _grid(np.linspace(100, 140, 60))
    grid[30] = NO_VALUE
    for masks in (zone_masks(grid), phase_masks(grid)):
        assert not any(mask[30] for mask in masks.values())
