"""RR that repeat those of a few beats before: how many, and how many are beyond chance."""

from __future__ import annotations

import math
import random

import pytest

from analysis.board.rules.repeats import Repeats
from analysis.board.rules.thresholds import FROZEN

A, B, C, D = 500, 510, 520, 530


def _after(*rr: int) -> Repeats:
    repeats = Repeats(FROZEN)
    for one in rr:
        repeats.take([one])
    return repeats


@pytest.mark.parametrize(
    ("rr", "beats"),
    [
        ([A], 0), ([A, B, C], 0), ([A, A], 1), ([A, B, C, A], 1), ([A, B, C, A, B], 2),
        ([A, B, C, A, B, A], 1), ([A, B, A, A], 1), ([A, B, A, B, C], 0), ([A] * 9, 8),
        ([A, B, C, A, B, C, D], 0), ([A, B, C, A, B, C, D, C], 1),
    ],
)  # fmt: skip
def test_repeats_are_counted_to_the_beat(rr, beats) -> None:
    """The longest stretch that goes on up to now, at one distance; a new RR ends it."""
    assert _after(*rr).beats == beats


@pytest.mark.parametrize(
    ("rr", "length", "told"), [((A, B, C), 11, False), ((A, B, C), 12, True), ((A,), 15, False),
                               ((A,), 16, True)],
)  # fmt: skip
def test_twelve_repeats_are_beyond_chance_or_sixteen_of_one_rr(rr, length, told) -> None:
    """Some recorders fill a hole with one interval, fourteen times in a row."""
    beats = [*rr, *(rr[k % len(rr)] for k in range(length))]
    assert _after(*beats).beyond_chance is told


def _counted(rr: list[int]) -> tuple[int, float]:
    """Repeats at the end, and the share of equal ones among the eight before each, by counting
    each anew.
    """
    equal, compared, beats = 8, 64, 0
    for n, one in enumerate(rr):
        before = rr[max(0, n - 8) : n]
        beats = 0
        for apart in range(1, len(before) + 1):
            length = 0
            while n - length >= apart and rr[n - length] == rr[n - length - apart]:
                length += 1
            beats = max(beats, length)
        if beats < 6:
            equal += before.count(one)
            compared += len(before)
    return beats, equal / compared


@pytest.mark.parametrize("seed", range(12))
def test_coarse_rr_repeat_by_chance_and_must_do_so_for_longer(seed) -> None:
    """As many as its own habit makes once in a million beats, at any of eight distances; before it
    has shown one, one in eight is equal.  What may be frozen is no habit.
    """
    source = random.Random(seed)
    rr = [source.choice((A, B, C, D)[: 2 + seed % 3]) for _ in range(20 + 5 * seed)]
    beats, share = _counted(rr)
    told = _after(*rr)
    assert told.beats == beats
    chance = math.ceil(math.log(1e-6 / 8) / math.log(share))
    assert told.needed == max(12, chance)


def test_a_stretch_is_a_habit_for_as_long_as_it_has_five_repeats() -> None:
    """Of seven equal RR the seventh, which repeats for the sixth time, is none: 0 + 1 + … + 5 of as
    many are equal to one before, and of the other RR behind none of seven.
    """
    share = (8 + 15) / (64 + 15 + 7)
    needed = math.ceil(math.log(1e-6 / 8) / math.log(share))
    assert needed == 13  # with a repeat more or less in the habit 14 or 12
    assert _after(*[A] * 7, B).needed == needed
    assert _after(*[A] * 20, B).needed < 14


def test_a_restart_forgets_the_stretch_and_keeps_the_habit() -> None:
    """It is counted anew; a sensor that is coarse is so still."""
    source = random.Random(3)
    coarse = _after(*(source.choice((A, B)) for _ in range(200)))
    needed = coarse.needed
    assert needed > 16
    coarse.restart()
    assert coarse.beats == 0
    coarse.take([A, B, A, B])
    assert coarse.beats == 2
    assert coarse.needed == needed
