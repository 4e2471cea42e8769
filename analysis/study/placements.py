"""Who was worn where: what sensor and side of the body do that cannot be told apart, and how to.

A sensor that was always worn on the left is never compared with itself on the right.  With swaps,
two sensors on opposite sides of one wearer are a two-by-two crossover within sessions: with sensor
and side each adding to the error, the difference of the two is sensor + side in one arrangement and
sensor − side in the other.  Half the sum and half the difference of the means of both arrangements
separate them (Hills & Armitage, Br J Clin Pharmacol 1979;8:7–20), with a pooled t interval.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.statistics.effective import FloatArray
from analysis.statistics.estimate import Estimate, t_quantile
from analysis.study.thresholds import PER_ARRANGEMENT
from analysis.study.variant import Variant
from replay.placement import part, side


@dataclass(frozen=True, slots=True)
class Worn:
    """In how many sessions a sensor was worn at each place, most often first."""

    name: str
    places: tuple[tuple[str, int], ...]

    @property
    def sides(self) -> frozenset[str]:
        """The sides it was worn on."""
        return frozenset(side(place) for place, _ in self.places if side(place))


def worn_of(variant: Variant) -> Worn:
    """Where one sensor was worn, over the sessions in which it counts."""
    places = Counter(" ".join(one.sensor.placement.split()) for one in variant.counted)
    return Worn(variant.name, tuple(places.most_common()))


def are_opposite(one: str, other: str) -> bool:
    """Whether two places are the two sides of one part of the body.

    >>> are_opposite("left wrist", "right wrist"), are_opposite("left wrist", "right upper arm")
    (True, False)
    """
    return bool(side(one)) and part(one) == part(other) and side(one) != side(other)


@dataclass(frozen=True, slots=True)
class Crossover:
    """``sensor``: error of the first minus that of the second; ``left``: of left minus right; in
    the unit of the differences.  ``arrangements``: sessions with the first on the left, and on the
    right.  No intervals below three sessions of each.
    """

    sensor: Estimate
    left: Estimate
    arrangements: tuple[int, int]


def crossover(first_left: FloatArray, first_right: FloatArray) -> Crossover:
    """Separate sensor and side.

    ``first_left`` float64[n]: error of the first minus that of the second in the sessions with the
    first on the left; ``first_right`` float64[m]: with it on the right.

    >>> import numpy as np
    >>> found = crossover(np.array([3.0, 3.5, 2.5]), np.array([-1.0, -0.5, -1.5]))
    >>> found.sensor.value, found.left.value, [round(end, 2) for end in found.left.interval]
    (1.0, 2.0, [1.43, 2.57])
    """
    counts = (len(first_left), len(first_right))
    if not min(counts):
        nothing = Estimate.undefined("There were no swaps: sensor and side cannot be told apart.")
        return Crossover(nothing, nothing, counts)
    left, right = float(first_left.mean()), float(first_right.mean())
    sensor, of_side = (left + right) / 2, (left - right) / 2
    if min(counts) < PER_ARRANGEMENT:
        caution = f"Fewer than {PER_ARRANGEMENT} sessions of an arrangement: no interval."
        return Crossover(
            Estimate(sensor, caution=caution), Estimate(of_side, caution=caution), counts
        )
    degrees = sum(counts) - 2
    squares = sum(float(((each - each.mean()) ** 2).sum()) for each in (first_left, first_right))
    half = t_quantile(degrees) * math.sqrt(squares / degrees * sum(1 / n for n in counts)) / 2

    def estimate(value: float) -> Estimate:
        return Estimate(value, (value - half, value + half), sum(counts))

    return Crossover(estimate(sensor), estimate(of_side), counts)


def arrangements(
    placements: Sequence[tuple[str, str]], differences: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Differences of the sessions with the first sensor on the left of one part of the body and the
    second on its right, and the other way round; other sessions are in neither.
    """
    opposite = [are_opposite(*pair) for pair in placements]
    left = np.array(
        [one and side(pair[0]) == "left" for one, pair in zip(opposite, placements, strict=True)],
        dtype=bool,
    )
    right = np.array(opposite, dtype=bool) & ~left
    return differences[left], differences[right]


def confounded_with_side(placements: Sequence[tuple[str, str]], differences: FloatArray) -> str:
    """Why two sensors cannot be told from the sides they were worn on; empty if they can.

    ``placements``: of both in each shared session; ``differences`` float64[k]: of their errors.
    They can where they were not worn on opposite sides of one part, or where each was on each side
    in three sessions and more and the side's effect taken out leaves a difference.
    """
    left, right = arrangements(placements, differences)
    fewest, most = sorted((len(left), len(right)))
    if not most or most * 2 < len(placements):
        return ""
    if fewest == 0:
        where = "left" if len(left) else "right"
        return f"always on the {where} and the other opposite, so that arm and sensor are one"
    if fewest < PER_ARRANGEMENT:
        return f"on the other side in {fewest} sessions only, too few to tell arm from sensor"
    found = crossover(left, right).sensor.interval
    if found is None or found[0] <= 0 <= found[1]:
        return "not told apart any more once the effect of the arm is taken out"
    return ""


@dataclass(frozen=True, slots=True)
class Pairing:
    """Two sensors of one activity worn on opposite sides, the first on the left in ``first_left``
    sessions and on the right in ``first_right``; and what the swaps separate in those of them in
    which neither lost the heart.
    """

    first: str
    second: str
    part: str
    first_left: int
    first_right: int
    crossover: Crossover


def pairings(variants: Sequence[Variant]) -> Iterable[Pairing]:
    """Each two sensors that were worn on opposite sides of one part in the same sessions."""
    for place, one in enumerate(variants):
        for other in variants[place + 1 :]:
            there = {each.session.path: each for each in other.counted}
            both = [
                (each, there[each.session.path])
                for each in one.counted
                if each.session.path in there
                and are_opposite(each.sensor.placement, there[each.session.path].sensor.placement)
            ]
            if not both:
                continue
            steady = [
                (a.sensor, b.sensor)
                for a, b in both
                if not (a.sensor.lost_the_heart or b.sensor.lost_the_heart)
            ]
            places = [(a.placement, b.placement) for a, b in steady]
            errors = np.array([(a.mae_bpm or 0.0) - (b.mae_bpm or 0.0) for a, b in steady])
            found = crossover(*arrangements(places, errors))
            left = sum(side(a.sensor.placement) == "left" for a, _ in both)
            where = part(both[0][0].sensor.placement)
            yield Pairing(one.name, other.name, where, left, len(both) - left, found)
