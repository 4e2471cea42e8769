"""Whether the beats of one list are those of another, with some lost on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

_SURELY: Final = 0.8
"""So many equal pairs are no chance: no better match is looked for."""


@dataclass(frozen=True, slots=True)
class BeatMatch:
    """``pairs``: positions in the two lists; ``exact``: how many of them are equal."""

    pairs: tuple[tuple[int, int], ...]
    exact: int


def match_beats(
    ours: Sequence[int], theirs: Sequence[int], *, factor: float, most_off: int, ahead: int
) -> BeatMatch:
    """The match in order with most equal pairs that begins with one of the first beats.

    ``ours``, ``theirs``: RR, 1/1024 s.  ``factor``: of the unit: ours are so many times theirs.
    ``most_off``: how far the values may differ; ``ahead``: how many beats in a row may have been
    lost or added on either side.
    """
    wanted = [round(rr * factor) for rr in theirs]
    best, most = BeatMatch((), 0), (0, 0)
    for first in range(min(ahead, len(ours))):
        for start, rr in enumerate(wanted):
            if abs(rr - ours[first]) <= most_off:
                pairs = _walk(ours, wanted, (first, start), most_off, ahead)
                exact = sum(ours[i] == wanted[j] for i, j in pairs)
                if (exact, len(pairs)) > most:
                    best, most = BeatMatch(tuple(pairs), exact), (exact, len(pairs))
        if most[0] > _SURELY * len(ours):
            break
    return best


def _walk(
    ours: Sequence[int], wanted: Sequence[int], start: tuple[int, int], most_off: int, ahead: int
) -> list[tuple[int, int]]:
    """Pairs in order from ``start`` on.

    Where beats of the other are passed over the next pair must fit as well: in a steady heart some
    beat ahead is equal by chance, and all in between would be lost.
    """
    i, j = start
    pairs: list[tuple[int, int]] = []
    missed = 0
    while i < len(ours) and j < len(wanted):
        for at in range(j, min(j + ahead, len(wanted))):
            if abs(wanted[at] - ours[i]) <= most_off and (
                at == j
                or i + 1 == len(ours)
                or at + 1 == len(wanted)
                or abs(wanted[at + 1] - ours[i + 1]) <= most_off
            ):
                pairs.append((i, at))
                j = at + 1
                missed = 0
                break
        else:
            missed += 1
            if missed > ahead:
                break
        i += 1
    return pairs
