"""Whether the beats of two have lately been those of one heart."""

from __future__ import annotations

import random
from collections import deque

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.board.rules.beat_match import match_beats
from analysis.board.rules.one_heart import OneHeart
from analysis.board.rules.thresholds import RELAY

Beats = tuple[list[int], list[int]]


def _beats(rng: random.Random, *, of_one: bool) -> Beats:
    """Forty of ours, and ninety-six of the other, with a tick or two between them or a heart."""
    theirs = [rng.randint(380, 620) for _ in range(96)]
    ours = [rr + rng.randint(-2, 2) for rr in theirs[-40:]]
    return (ours, theirs) if of_one else ([rng.randint(380, 620) for _ in range(40)], theirs)


@pytest.mark.parametrize(
    ("told", "denied"),
    [
        ("ooooo", False),
        ("oooooo", True),  # half a minute
        ("1ooooo", False),
        ("1oooooo", True),
        ("oooooo1", False),
        ("oooooo1ooooo", False),
        ("oooooo1oooooo", True),
    ],
)
def test_it_is_denied_after_half_a_minute_of_another_heart(told: str, denied: bool) -> None:
    """What is told every five seconds; one match within them is enough."""
    rng, hearts = random.Random(3), OneHeart(RELAY)
    for one in told:
        hearts.take(*_beats(rng, of_one=one == "1"))
    assert hearts.is_denied is denied


@given(st.lists(st.tuples(st.booleans(), st.booleans()), max_size=25), st.integers(0, 9))
def test_when_it_is_asked_changes_nothing(steps: list[tuple[bool, bool]], seed: int) -> None:
    """Compared each time or seldom, in the end the same is known."""
    rng, hearts = random.Random(seed), OneHeart(RELAY)
    newest: deque[bool] = deque(maxlen=6)
    for of_one, is_asked in steps:
        ours, theirs = _beats(rng, of_one=of_one)
        hearts.take(ours, theirs)
        match = match_beats(ours, theirs, factor=1.0, most_off=3, ahead=10)
        newest.append(len(match.pairs) >= 24)
        if is_asked:
            assert hearts.is_denied is (len(newest) == 6 and not any(newest))
