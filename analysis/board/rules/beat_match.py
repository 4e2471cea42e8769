"""Whether the beats of one list are those of another, with some lost on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BeatMatch:
    """``pairs``: positions in the two lists; ``exact``: how many of them are equal."""

    pairs: tuple[tuple[int, int], ...]
    exact: int


def match_beats(
    ours: Sequence[int], theirs: Sequence[int], *, factor: float, most_off: int, ahead: int
) -> BeatMatch:
    """The longest match in order that begins with one of the first beats.

    ``ours``, ``theirs``: RR, 1/1024 s.  ``factor``: of the unit: ours are so many times theirs.
    ``most_off``: how far the values may differ; ``ahead``: how many beats in a row may have been
    lost or added on either side.
    """
    wanted = [round(rr * factor) for rr in theirs]
    best: list[tuple[int, int]] = []
    for first in range(min(ahead, len(ours))):
        for start, rr in enumerate(wanted):
            if abs(rr - ours[first]) <= most_off:
                pairs = _walk(ours, wanted, (first, start), most_off, ahead)
                if len(pairs) > len(best):
                    best = pairs
        if 2 * len(best) > len(ours):
            break
    return BeatMatch(tuple(best), sum(ours[i] == wanted[j] for i, j in best))


def _walk(
    ours: Sequence[int], wanted: Sequence[int], start: tuple[int, int], most_off: int, ahead: int
) -> list[tuple[int, int]]:
    i, j = start
    pairs: list[tuple[int, int]] = []
    missed = 0
    while i < len(ours) and j < len(wanted):
        for skip in range(ahead):
            if j + skip < len(wanted) and abs(wanted[j + skip] - ours[i]) <= most_off:
                pairs.append((i, j + skip))
                j += skip + 1
                missed = 0
                break
        else:
            missed += 1
            if missed > ahead:
                break
        i += 1
    return pairs
