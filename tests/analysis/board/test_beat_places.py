"""Where lengths stand among beats: of a list, and of the newest that a sensor has sent."""

from __future__ import annotations

import pickle
from collections import deque
from random import Random

import pytest

from analysis.board.rules.beat_places import BeatPlaces, NewestPlaces

KEPT = 30


def places_of(bits: int) -> list[int]:
    return [at for at in range(bits.bit_length()) if bits >> at & 1]


@pytest.mark.parametrize("factor", [1.0, 1.024, 1000 / 1024])
@pytest.mark.parametrize("off", [0, 1, 2])
def test_places_are_those_of_each_beat_in_the_unit_asked_for(factor: float, off: int) -> None:
    """Equal where the rounded length is the same, near where it is at most so much off."""
    beats = [500, 503, 500, 498, 512, 488, 501]
    wanted = list(range(470, 530))
    places = BeatPlaces(beats, factor, off)
    assert places.width == len(beats)
    for length, equal, near in zip(wanted, places.equal(wanted), places.near(wanted), strict=True):
        away = [abs(round(beat * factor) - length) for beat in beats]
        assert places_of(equal) == [at for at, one in enumerate(away) if one == 0]
        assert places_of(near) == [at for at, one in enumerate(away) if one <= off]


@pytest.mark.parametrize("most_new", [1, 7, 2 * KEPT])
@pytest.mark.parametrize("factor", [1.0, 1.024])
def test_the_newest_are_followed_as_if_they_had_been_counted_anew(
    factor: float, most_new: int
) -> None:
    """However many came in between, also more than are kept, and none; for thousands of beats."""
    chance = Random(most_new)
    beats, count, followed = deque[int](maxlen=KEPT), 0, NewestPlaces(factor, 1)
    wanted = list(range(470, 530))
    while count < 2_000:
        new = [chance.randint(480, 515) for _ in range(chance.randint(0, most_new))]
        beats.extend(new)
        count += len(new)
        assert followed.follow(beats, count) is followed
        anew = BeatPlaces(beats, factor, 1)
        assert followed.width == anew.width
        assert followed.equal(wanted) == anew.equal(wanted)
        assert followed.near(wanted) == anew.near(wanted)


def test_a_copy_counts_anew_what_its_own_beats_are() -> None:
    """A kept board need not hold what follows from its beats."""
    followed = NewestPlaces(1.024, 2).follow([500, 510], 2)
    copy = pickle.loads(pickle.dumps(followed))  # noqa: S301 - made here
    assert (copy.width, copy.near([512])) == (0, [0])
    beats = [500, 510, 520]
    assert copy.follow(beats, 3).near([520, 530]) == [0b10, 0b100]
    assert copy.near([512, 533]) == BeatPlaces(beats, 1.024, 2).near([512, 533])
    assert followed.near([512]) == [0b01]
