"""A heart in exercise, and what a badly seated strap makes of its beats."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Final

from analysis.board.rules.base import Rule
from analysis.board.rules.loose import LooseReference
from analysis.board.session_state import SessionState

FAST: Final = 140
SLOW: Final = 100
"""bpm of a heart in hard and in light exercise."""

CHANCE: Final = (20, 110, 210, 290, 360)
"""Single bad beats, as a well-seated strap may show in a fast heart."""


def loose_rule(session: SessionState) -> list[Rule]:
    """The rule on the reference alone."""
    return [LooseReference(session, session.reference)]


def steady_heart(count: int, rr_s: float = 60 / 140, spread: float = 0.008) -> list[float]:
    """RR in s."""
    source = random.Random(5)
    return [rr_s * (1 + source.gauss(0, spread)) for _ in range(count)]


def _missed(first: float, second: float) -> list[float]:
    return [first + second]


def with_bad_beats(
    at_s: list[float],
    make: Callable[[float, float], list[float]] = _missed,
    bpm: float = FAST,
) -> list[float]:
    """A steady heart in exercise; the two beats at each of these times are made into others."""
    rr: list[float] = []
    at, waiting, heart = 0.0, list(at_s), steady_heart(1300, 60 / bpm)
    while heart:
        first = heart.pop(0)
        if waiting and at >= waiting[0] and heart:
            waiting.pop(0)
            new = make(first, heart.pop(0))
        else:
            new = [first]
        rr += new
        at += sum(new)
    return rr
