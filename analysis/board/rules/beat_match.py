"""Whether the beats of one list are those of another, with some lost on the way."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple, TypeAlias

_SURELY: Final = 0.8
"""So many equal pairs are no chance: no better match is looked for."""

_Pair: TypeAlias = tuple[int, int]


@dataclass(frozen=True, slots=True)
class BeatMatch:
    """``pairs``: positions in the two lists; ``exact``: how many of them are equal."""

    pairs: tuple[tuple[int, int], ...]
    exact: int


_NO_MATCH: Final = BeatMatch((), 0)


class _Rest(NamedTuple):
    """What a match makes from one of its pairs on: how many are equal, how many there are, and
    which comes next.
    """

    exact: int
    pairs: int
    then: _Pair | None


def match_beats(
    ours: Sequence[int],
    theirs: Sequence[int],
    *,
    factor: float,
    most_off: int,
    ahead: int,
    least: float = 0,
) -> BeatMatch:
    """The match in order with most equal pairs that begins with one of the first beats.

    ``ours``, ``theirs``: RR, 1/1024 s.  ``factor``: of the unit: ours are so many times theirs.
    ``most_off``: how far the values may differ; ``ahead``: how many beats in a row may have been
    lost or added on either side.  ``least``: where there cannot be as many pairs, none are looked
    for.
    """
    wanted = [round(rr * factor) for rr in theirs]
    fits = _fits(ours, wanted, most_off)
    if len(ours) - fits.count([]) < least:
        return _NO_MATCH
    steps = _Steps(fits, ours, wanted, most_off=most_off, ahead=ahead)
    best, most = None, (0, 0)
    for first in range(min(ahead, len(ours))):
        for start in fits[first]:
            rest = steps.rest_from((first, start))
            if (rest.exact, rest.pairs) > most:
                best, most = (first, start), (rest.exact, rest.pairs)
        if most[0] > _SURELY * len(ours):
            break
    return BeatMatch(steps.pairs_from(best), most[0])


def _fits(ours: Sequence[int], wanted: Sequence[int], most_off: int) -> list[list[int]]:
    """For each of our beats, where the others' are that it may be, in order."""
    places: dict[int, list[int]] = {}
    for at, rr in enumerate(wanted):
        places.setdefault(rr, []).append(at)
    offs = range(-most_off, most_off + 1)
    return [sorted([at for off in offs for at in places.get(rr + off, ())]) for rr in ours]


class _Steps:
    """Matches by their pairs.  How one goes on from a pair depends on that pair alone, and many
    matches of a steady heart run into each other: each pair is looked at once.
    """

    def __init__(
        self,
        fits: list[list[int]],
        ours: Sequence[int],
        wanted: Sequence[int],
        *,
        most_off: int,
        ahead: int,
    ) -> None:
        self._fits = fits
        self._ours = ours
        self._wanted = wanted
        self._most_off = most_off
        self._ahead = ahead
        self._last, self._last_wanted = len(ours) - 1, len(wanted) - 1
        self._rests: dict[_Pair, _Rest] = {}

    def rest_from(self, pair: _Pair) -> _Rest:
        """What the match that begins with ``pair`` makes."""
        rests, ours, wanted = self._rests, self._ours, self._wanted
        new: list[_Pair] = []
        at: _Pair | None = pair
        while at is not None and at not in rests:
            new.append(at)
            at = self._next(*at)
        exact, count = (0, 0) if at is None else rests[at][:2]
        for one in reversed(new):
            exact += ours[one[0]] == wanted[one[1]]
            count += 1
            rests[one] = _Rest(exact, count, at)
            at = one
        return rests[pair]

    def pairs_from(self, pair: _Pair | None) -> tuple[_Pair, ...]:
        """All pairs of the match that begins with this one."""
        pairs = []
        while pair is not None:
            pairs.append(pair)
            pair = self._rests[pair].then
        return tuple(pairs)

    def _next(self, i: int, j: int) -> _Pair | None:
        """The pair after this one; ``None`` where too many of our beats have none.

        Where beats of the other are passed over the next beat must fit as well: in a steady heart
        some beat ahead is equal by chance, and all in between would be lost.
        """
        i += 1
        j += 1
        wanted, last, last_wanted = self._wanted, self._last, self._last_wanted
        if j > last_wanted:
            return None
        beyond = j + self._ahead
        for one in range(i, min(i + self._ahead, last) + 1):
            fits = self._fits[one]
            for at in fits[bisect_left(fits, j) :]:
                if at >= beyond:
                    break
                if (
                    at in (j, last_wanted)
                    or one == last
                    or abs(wanted[at + 1] - self._ours[one + 1]) <= self._most_off
                ):
                    return one, at
        return None
