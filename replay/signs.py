"""Which sign a test sensor is known by on every screen: a number, shown as a shape and a colour.

A sign belongs to a sensor, not to its place in a plan: the plan says it where it is known, and
whoever has none takes the lowest that is free.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, Protocol


class Signed(Protocol):
    """A sensor of a plan, as far as its sign goes."""

    @property
    def role(self) -> str:
        """Signs tell those under test from one another."""

    @property
    def sign(self) -> int:
        """The one it has, 0 for none."""


SHAPES: Final = 8
COLOURS: Final = 7
"""Without a common divisor: counting both on gives each pair once."""

SIGNS: Final = SHAPES * COLOURS
"""Signs are numbered from 1 to this; beyond them they begin again."""


def free_sign(taken: Iterable[int]) -> int:
    """The lowest sign that is not taken; 1 if all are."""
    used = set(taken)
    return next((sign for sign in range(1, SIGNS + 1) if sign not in used), 1)


def signs_of(sensors: Sequence[Signed]) -> list[int]:
    """The sign of each sensor of a plan, 0 for what is not under test.

    Of two that claim the same, the first has it.
    """
    signs = [0] * len(sensors)
    for place, sensor in enumerate(sensors):
        if sensor.role == "test" and sensor.sign and sensor.sign not in signs:
            signs[place] = sensor.sign
    for place, sensor in enumerate(sensors):
        if sensor.role == "test" and not signs[place]:
            signs[place] = free_sign(signs)
    return signs
