"""Whether the beats of one list are those of another, with some lost on the way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from analysis.board.rules.beat_places import BeatPlaces, NewestPlaces

_SURELY: Final = 0.8
"""So many equal pairs are no chance: no better match is looked for."""

_Pair: TypeAlias = tuple[int, int]


@dataclass(frozen=True, slots=True)
class BeatMatch:
    """``pairs``: positions in the two lists; ``exact``: how many of them are equal."""

    pairs: tuple[tuple[int, int], ...]
    exact: int


_NO_MATCH: Final = BeatMatch((), 0)


_Rest: TypeAlias = tuple[int, int, _Pair | None]
"""What a match makes from one of its pairs on: how many are equal, how many there are, and which
comes next.
"""


def match_beats(
    ours: Sequence[int],
    theirs: Sequence[int],
    *,
    factor: float,
    most_off: int,
    ahead: int,
    least: float = 0,
    least_exact: float = 0,
) -> BeatMatch:
    """The match in order with most equal pairs that begins with one of the first beats.

    ``ours``, ``theirs``: RR, 1/1024 s.  ``factor``: of the unit: ours are so many times theirs.
    ``most_off``: how far the values may differ; ``ahead``: how many beats in a row may have been
    lost or added on either side.  ``least``, ``least_exact``: where there cannot be as many pairs,
    or equal ones, none are looked for.
    """
    places = BeatPlaces(theirs, factor, most_off)
    return match_among(ours, places, ahead=ahead, least=least, least_exact=least_exact)


def match_among(
    ours: Sequence[int],
    places: BeatPlaces | NewestPlaces,
    *,
    ahead: int,
    least: float,
    least_exact: float,
) -> BeatMatch:
    """:func:`match_beats` where the places of their beats are known."""
    equal = places.equal(ours)
    if least_exact and _are_fewer(equal, places.width, least_exact):
        return _NO_MATCH
    fits = places.near(ours)
    if not any(fits) or _are_fewer(fits, places.width, least):
        return _NO_MATCH
    steps = _Steps(fits, equal, last_wanted=places.width - 1, ahead=ahead)
    best, most = None, (0, 0)
    for first in range(min(ahead, len(ours))):
        for start in _bits(fits[first]):
            exact, pairs, _ = steps.rest_from((first, start))
            if (exact, pairs) > most:
                best, most = (first, start), (exact, pairs)
        if most[0] > _SURELY * len(ours):
            break
    return BeatMatch(steps.pairs_from(best), most[0])


def _are_fewer(places: Sequence[int], width: int, least: float) -> bool:
    """Whether there cannot be as many pairs in order; mostly since too few are met at all."""
    return len(places) - places.count(0) < least or _most_in_order(places, width) < least


def _most_in_order(places: Sequence[int], width: int) -> int:
    """Most pairs that go up in both lists, of the first list and of ``width`` in the other.

    No match has more.  Length of the longest common subsequence by whole numbers as rows of bits
    (Hyyrö, "Bit-parallel LCS-length computation revisited", 2004; from memory).

    >>> _most_in_order([0b100, 0b001, 0b010], 3)
    2
    """
    every = (1 << width) - 1
    rising = every
    for here in places:
        met = rising & here
        rising = (rising + met | rising - met) & every
    return width - rising.bit_count()


def _bits(places: int) -> Iterator[int]:
    """The numbers of the bits that are set, in order."""
    while places:
        lowest = places & -places
        yield lowest.bit_length() - 1
        places ^= lowest


class _Steps:
    """Matches by their pairs.  How one goes on from a pair depends on that pair alone, and many
    matches of a steady heart run into each other: each pair is looked at once.

    ``fits``: where among the others' each of our beats may be; ``equal``: and is to the last tick.
    """

    def __init__(
        self, fits: Sequence[int], equal: Sequence[int], *, last_wanted: int, ahead: int
    ) -> None:
        self._fits: Final = fits
        self._equal: Final = equal
        self._ahead: Final = ahead
        self._within: Final = (1 << ahead) - 1
        # Where the beats behind both fit as well, or where there is none behind one of them.
        end = 1 << last_wanted
        self._goes_on: Final = [
            here & (behind >> 1 | end) for here, behind in zip(fits, [*fits[1:], -1], strict=True)
        ]
        self._rests: Final[dict[_Pair, _Rest]] = {}

    def rest_from(self, pair: _Pair) -> _Rest:
        """What the match that begins with ``pair`` makes."""
        rests = self._rests
        known = rests.get(pair)
        if known is not None:
            return known
        new: list[_Pair] = []
        at: _Pair | None = pair
        while at is not None and at not in rests:
            new.append(at)
            at = self._next(*at)
        exact, count = (0, 0) if at is None else rests[at][:2]
        for one in reversed(new):
            exact += self._equal[one[0]] >> one[1] & 1
            count += 1
            rests[one] = exact, count, at
            at = one
        return rests[pair]

    def pairs_from(self, pair: _Pair | None) -> tuple[_Pair, ...]:
        """All pairs of the match that begins with this one."""
        pairs = []
        while pair is not None:
            pairs.append(pair)
            pair = self._rests[pair][2]
        return tuple(pairs)

    def _next(self, i: int, j: int) -> _Pair | None:
        """The pair after this one; ``None`` where too many of our beats have none.

        Where beats of the other are passed over the next beat must fit as well: in a steady heart
        some beat ahead is equal by chance, and all in between would be lost.
        """
        j += 1
        for one in range(i + 1, min(i + 2 + self._ahead, len(self._fits))):
            found = self._goes_on[one] >> j & self._within | self._fits[one] >> j & 1
            if found:
                return one, j + (found & -found).bit_length() - 1
        return None
