"""Path data made short: the same line to the eye, in a fraction of the letters."""

from __future__ import annotations

import re

import numpy as np

from analysis.report.svg_paths import APART, COLUMN, compact, compact_all


def points_of(path):
    """Corners of a compact path, absolute."""
    at = start = np.zeros(2)
    found = []
    for letter, rest in re.findall(r"([MlhvqczZ])([^MlhvqczZ]*)", path):
        values = [float(text) for text in re.findall(r"-?\d*\.?\d+", rest)]
        if letter == "M":
            at = start = np.array(values)
        elif letter == "z":
            at = start
        elif letter in "hv":
            at = at + (np.array([values[0], 0]) if letter == "h" else np.array([0, values[0]]))
        else:
            at = at + np.array(values[-2:])
        found.append(at)
    return np.array(found)


def test_no_step_drifts():
    """Ten thousand steps later a corner still lies within a tenth of a point of where it was."""
    rng = np.random.default_rng(5)
    x = np.cumsum(rng.uniform(COLUMN, 1.0, 10_000))
    y = rng.normal(100, 20, 10_000)
    path = "M 0 0 " + "".join(f"\nL {a:.4f} {b:.4f} " for a, b in zip(x, y, strict=True))
    found = points_of(compact(path))[1:]
    at = np.searchsorted(x, found[:, 0] - 0.051)
    assert len(found) > 8_000
    assert np.abs(found[:, 0] - x[at]).max() <= 0.051
    assert np.abs(found[:, 1] - y[at]).max() <= 0.051


def test_what_shows_of_a_dense_line_is_kept():
    """Of many points in one column the lowest and the highest stay, and the line is short."""
    x = np.linspace(0, 10, 5_001)
    y = 50 + 40 * np.sin(np.arange(5_001))
    path = "M 0 50 " + "".join(f"\nL {a:.4f} {b:.4f} " for a, b in zip(x, y, strict=True))
    short = compact(path)
    found = points_of(short)
    assert len(short) < len(path) / 50
    for column in range(19):
        inside = (x >= column * COLUMN) & (x < (column + 1) * COLUMN)
        kept = (found[:, 0] >= column * COLUMN - 0.05) & (found[:, 0] <= (column + 1) * COLUMN)
        assert abs(found[kept, 1].max() - y[inside].max()) <= APART
        assert abs(found[kept, 1].min() - y[inside].min()) <= APART


def test_closed_parts_and_curves_keep_their_place():
    """Steps after a closed part start from its beginning, and curves end where they ended."""
    path = "M 5 5 \nL 9 5 \nL 9 8 \nz\nM 20 20 \nC 21 20 22 21 22 22 \nQ 23 24 25.04 26.06 \nz"
    assert compact(path) == "M5 5h4v3zM20 20c1 0 2 1 2 2q1 2 3 4.1z"


def test_what_it_does_not_know_stays():
    """A path with other letters comes back untouched."""
    assert compact("M 0 0 A 1 1 0 0 0 2 2") == "M 0 0 A 1 1 0 0 0 2 2"


def test_what_is_dropped_lies_on_what_is_drawn():
    """Of a noisy line every point lies within the stated distance of the line that is left, the one
    spike of a second too; a flat stretch costs two points.
    """
    rng = np.random.default_rng(3)
    x = np.arange(2_000) * 0.3
    y = 60 + 20 * np.sin(x / 40) + rng.normal(0, 0.3, 2_000)
    y[1_000:1_500] = 70.0
    y[700] = 5.0
    path = "M 0 60 " + "".join(f"\nL {a:.4f} {b:.4f} " for a, b in zip(x, y, strict=True))
    left = points_of(compact(path))
    assert len(left) < 1_500
    assert np.sum((left[:, 0] > x[1_000] + 1) & (left[:, 0] < x[1_499] - 1)) == 0
    assert abs(left[:, 1].min() - 5.0) <= 0.051
    heads, ends = left[:-1], left[1:]
    along = ends - heads
    square = np.maximum(np.sum(along**2, axis=1), 1e-12)
    for spot in np.column_stack([x, y]):
        share = np.clip(np.sum((spot - heads) * along, axis=1) / square, 0, 1)
        apart = np.hypot(*(spot - heads - share[:, None] * along).T).min()
        assert apart <= APART + COLUMN


def test_a_gap_stays_a_gap():
    """Each part of a broken line begins anew where it did, however many points are dropped."""
    path = "M 0 5 \nL 10 5 \nL 20 5 \nL 30 5 \nM 40 5 \nL 50 5 \nL 60 5 \nL 70 5 "
    assert compact(path) == "M0 5h30M40 5h30"


def test_many_at_once_are_each_what_it_is_alone():
    """Paths that are made short together do not run into each other, in any order."""
    rng = np.random.default_rng(8)
    paths = ["", "M 1 1 ", "M 0 0 A 1 1 0 0 0 2 2", "L 1 1 \nL 2 2 \nL 3 3 "]
    for count in (2, 3, 40, 400):
        x, y = np.sort(rng.uniform(0, 20, count)), rng.normal(50, 9, count)
        lines = "".join(f"\nL {a:.4f} {b:.4f} " for a, b in zip(x, y, strict=True))
        paths += [f"M 0 50 {lines}", f"M 3 4 \nC 1 2 3 4 5 6 {lines}\nz{lines}\nM 9 9 {lines}\nz"]
    found = compact_all(paths)
    assert found == [compact(path) for path in paths]
    assert [paths[at] == found[at] for at in range(4)] == [True, False, True, True]
    assert compact_all(paths[::-1]) == found[::-1]
