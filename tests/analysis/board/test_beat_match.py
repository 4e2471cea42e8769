"""Beats of one list found in another."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

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


@pytest.mark.parametrize(("least_exact", "pairs"), [(2, 3), (3, 0)])
def test_where_there_cannot_be_enough_equal_ones_none_are_looked_for(least_exact, pairs) -> None:
    """Nor where the equal ones do not come in this order."""
    match = match_beats([500, 510, 520], [520, 500, 511, 520, 510], factor=1.0, most_off=1,
                        ahead=3, least_exact=least_exact)  # fmt: skip
    assert len(match.pairs) == pairs


rr = st.lists(st.integers(500, 508), max_size=24)


@given(rr, rr, st.integers(0, 3), st.integers(1, 5))
def test_what_cannot_be_enough_is_left_out_and_nothing_else(ours, theirs, most_off, ahead) -> None:
    """A match is the same whatever is asked for, as long as it has that."""
    asked = {"factor": 1.0, "most_off": most_off, "ahead": ahead}
    match = match_beats(ours, theirs, **asked)
    assert match_beats(ours, theirs, **asked, least=len(match.pairs)) == match
    assert match_beats(ours, theirs, **asked, least_exact=match.exact) == match
    assert all(abs(ours[i] - theirs[j]) <= most_off for i, j in match.pairs)
    assert sum(ours[i] == theirs[j] for i, j in match.pairs) == match.exact
    for (i, j), (next_i, next_j) in pairwise(match.pairs):
        assert 1 <= next_i - i <= ahead + 1
        assert 1 <= next_j - j <= ahead


@given(rr, rr)
def test_what_is_asked_for_is_looked_for_up_to_the_longest_common_order(ours, theirs) -> None:
    """As the table of the textbook finds its length; beyond it there is no match at all."""
    table = [[0] * (len(theirs) + 1) for _ in range(len(ours) + 1)]
    for i, one in enumerate(ours):
        for j, other in enumerate(theirs):
            met = table[i][j] + (one == other)
            table[i + 1][j + 1] = max(met, table[i][j + 1], table[i + 1][j])
    longest = table[-1][-1]
    match = match_beats(ours, theirs, factor=1.0, most_off=0, ahead=30)
    assert match.exact <= longest
    if longest:
        assert match_beats(ours, theirs, factor=1.0, most_off=0, ahead=30, least=longest) == match
    beyond = match_beats(ours, theirs, factor=1.0, most_off=0, ahead=30, least=longest + 1)
    assert not beyond.pairs


def test_beats_are_the_same_in_another_unit() -> None:
    """Ours are so many times theirs, rounded."""
    match = match_beats([512, 522], [500, 510], factor=1.024, most_off=0, ahead=3)
    assert (match.pairs, match.exact) == (((0, 0), (1, 1)), 2)
