"""The pairs of a session: which seconds, which values, and what is left out of them and why."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.session.pair_counts import CELL_BPM, added, pair_counts
from analysis.session.pairs import Pairs, session_pairs
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.stretch import Stretch

DRY = Stretch(2, 4, "strap dry", 1)
LOOSE = Stretch(3, 5, "band loose", 2)
OTHER = Stretch(0, 9, "of another", 3)


def grid(*bpm: float | None) -> np.ndarray:
    """A grid of these values."""
    return np.array([NO_VALUE if one is None else round(1000 * one) for one in bpm], dtype=np.int32)


REFERENCE = grid(100, None, 102, 103, 104, 105)
SORREL = grid(101, 101, 101.5, None, 104, 109)


def pairs(*, comparable: bool = True) -> tuple[Pairs, ...]:
    """Of a session of six seconds with the exclusions above."""
    data = SimpleNamespace(
        plan=SimpleNamespace(tests=(2,), is_comparable=lambda number: comparable and number == 2),
        reference=SimpleNamespace(number=1, grid=REFERENCE),
        sensors={2: SimpleNamespace(grid=SORREL, sensor=SimpleNamespace(label="Sorrel"))},
        seconds=6,
    )
    record = SimpleNamespace(exclusions=(DRY, LOOSE, OTHER))
    return session_pairs(record, data)  # type: ignore[arg-type]


def test_seconds_with_both_values_are_pairs() -> None:
    """In order of time; in bpm and in thousandths of it."""
    (one,) = pairs()
    assert (one.number, one.label) == (2, "Sorrel")
    assert one.second.tolist() == [0, 2, 4, 5]
    assert one.reference.tolist() == [100_000, 102_000, 104_000, 105_000]
    assert one.reference_bpm.tolist() == [100, 102, 104, 105]
    assert one.test_bpm.tolist() == [101, 101.5, 104, 109]


def test_what_concerns_the_sensor_or_the_reference_is_left_out() -> None:
    """And nothing of another sensor; the end of a stretch is not in it."""
    (one,) = pairs()
    assert one.excluded.tolist() == [False, True, True, False]
    assert one.exclusions == (DRY, LOOSE)


@pytest.mark.parametrize(
    ("second", "why"),
    [(1, None), (2, "strap dry"), (3, "strap dry; band loose"), (4, "band loose"), (5, None)],
)
def test_each_reason_is_told_once_for_a_second(second: int, why: str | None) -> None:
    """All that hold at it, in their order."""
    (one,) = pairs()
    assert one.why(second) == why


def test_a_sensor_that_cannot_be_compared_has_no_pairs() -> None:
    """It is told all the same."""
    (one,) = pairs(comparable=False)
    assert (one.number, one.second.size, one.excluded.size) == (2, 0, 0)


def test_pairs_are_counted_in_cells_of_2_bpm_around_even_values() -> None:
    """Column, row, count; a cell begins an odd bpm below its middle, and ends before the next."""
    reference = grid(59, 60.999, 61, 60, None, 60)
    test = grid(71, 72.999, 72, None, 72, 90)
    kept = np.array([True, True, True, True, True, False])
    assert CELL_BPM == 2
    assert pair_counts(reference, test, kept) == (30, 36, 2, 31, 36, 1)
    assert pair_counts(reference, test, ~kept) == (30, 45, 1)
    assert pair_counts(reference, test, np.zeros(6, dtype=bool)) == ()


def test_counts_of_sessions_are_added_cell_by_cell() -> None:
    """Cells come back as bpm; nothing is lost and nothing mixed up."""
    one = np.array([30, 36, 2, 31, 36, 1], dtype=np.intc).tobytes()
    other = np.array([31, 36, 4, 31, 40, 5], dtype=np.intc).tobytes()
    middles, sums = added([one, other])
    assert middles.tolist() == [[60, 72], [62, 72], [62, 80]]
    assert sums.tolist() == [2, 5, 5]
    middles, sums = added([])
    assert (middles.shape, sums.shape) == ((0, 2), (0,))
