"""Beats of one list found in another."""

from __future__ import annotations

import pytest

from analysis.board.rules.beat_match import match_beats


@pytest.mark.parametrize(
    ("ours", "theirs", "first"),
    [
        ([500, 510], [500, 510, 700, 500, 510], (0, 0)),
        ([500, 510], [400, 500, 510, 700, 500, 510], (0, 1)),
        ([500, 510, 520], [500, 510, 700, 500, 510, 520], (0, 3)),
    ],
)
def test_of_matches_that_are_as_good_the_earliest_is_taken(ours, theirs, first) -> None:
    """A later one only if more of its beats are equal."""
    match = match_beats(ours, theirs, factor=1.0, most_off=1, ahead=3)
    assert match.pairs[0] == first
    assert match.exact == len(ours)


@pytest.mark.parametrize(("least", "pairs"), [(2, 2), (3, 0)])
def test_where_there_cannot_be_enough_none_are_looked_for(least, pairs) -> None:
    """Beats that fit nowhere cannot be paired."""
    match = match_beats([500, 510, 900], [500, 510, 520], factor=1.0, most_off=1, ahead=3,
                        least=least)  # fmt: skip
    assert len(match.pairs) == pairs


def test_beats_are_the_same_in_another_unit() -> None:
    """Ours are so many times theirs, rounded."""
    match = match_beats([512, 522], [500, 510], factor=1.024, most_off=0, ahead=3)
    assert (match.pairs, match.exact) == (((0, 0), (1, 1)), 2)
