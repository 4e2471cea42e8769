"""Signs of test sensors: each its own, the lowest that is free, none for what is not compared."""

from __future__ import annotations

from types import SimpleNamespace

from replay.signs import COLOURS, SHAPES, SIGNS, free_sign, signs_of


def sensor(sign: int = 0, role: str = "test") -> SimpleNamespace:
    """One of a plan."""
    return SimpleNamespace(role=role, sign=sign)


def test_each_pair_of_shape_and_colour_is_one_sign() -> None:
    """Counting both on meets every pair before one comes again."""
    assert len({(n % SHAPES, n % COLOURS) for n in range(SIGNS)}) == SIGNS == 56


def test_the_lowest_free_sign_is_taken() -> None:
    """The first again where all are."""
    assert free_sign([]) == 1
    assert free_sign([1, 2, 4]) == 3
    assert free_sign(range(1, SIGNS)) == SIGNS
    assert free_sign(range(1, SIGNS + 1)) == 1


def test_of_two_that_claim_one_sign_the_first_has_it() -> None:
    """The reference and companions have none; who has none takes what is free."""
    plan = [sensor(3, "reference"), sensor(2), sensor(), sensor(2), sensor(5, "companion")]
    assert signs_of(plan) == [0, 2, 1, 3, 0]
    assert signs_of([]) == []
