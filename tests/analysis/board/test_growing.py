"""A series that grows at its end."""

from __future__ import annotations

from copy import deepcopy

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.board.growing import Growing

_numbers = st.integers(-(2**31), 2**31 - 1)


@pytest.mark.parametrize("dtype", [np.int64, np.int32])
def test_what_is_appended_stays_in_order(dtype) -> None:
    """However much it is: beyond its first room, and that of its second."""
    grown = Growing(dtype)
    assert len(grown) == 0
    assert grown.view.tolist() == []
    for value in range(5000):
        grown.append(value)
    assert len(grown) == 5000
    assert grown.view.tolist() == list(range(5000))
    assert grown.view.dtype == dtype


def test_a_view_is_read_only_and_stays_as_it_was() -> None:
    """Views draw from it while the session goes on; a new one sees more."""
    grown = Growing(np.int64)
    for value in range(3):
        grown.append(value)
    before = grown.view
    for value in range(3, 3000):
        grown.append(value)
    assert before.tolist() == [0, 1, 2]
    assert len(grown.view) == 3000
    with pytest.raises(ValueError, match="read-only"):
        before[0] = 7
    grown.append(3000)  # what was given out is read-only, what it grows in is not
    assert grown.view[-1] == 3000


def test_it_is_copied_seldom_and_takes_less_than_twice_the_room() -> None:
    """However often it is looked at: a session of hours costs each look the same."""
    growing = Growing(np.int64)
    rooms: set[int] = set()
    assert len(growing.view.base) == 0
    for count in range(1, 3001):
        growing.append(count)
        room = len(growing.view.base)
        assert count <= room < max(2, 2 * count)
        rooms.add(room)
    assert sorted(rooms) == [2**doubled for doubled in range(13)]


@given(st.lists(st.tuples(st.integers(0, 2500), st.booleans()), max_size=8))
def test_it_holds_what_was_appended_whenever_it_is_looked_at(steps: list[tuple[int, bool]]) -> None:
    """However much is appended between two looks, the view is the plain list."""
    growing = Growing(np.int64)
    plain: list[int] = []
    for more, looked_at in steps:
        for _ in range(more):
            plain.append(3 * len(plain))
            growing.append(plain[-1])
        assert len(growing) == len(plain)
        if looked_at:
            assert growing.view.tolist() == plain
    assert growing.view.tolist() == plain


@given(st.lists(st.lists(_numbers, max_size=1100), max_size=5))
def test_it_follows_a_list_as_if_each_element_had_been_appended(parts: list[list[int]]) -> None:
    """What it follows and what is appended one by one make the same array."""
    following, appended = Growing(np.int32), Growing(np.int32)
    plain: list[int] = []
    for part in parts:
        plain += part
        for value in part:
            appended.append(value)
        following.follow(plain)
        assert following.view.tolist() == plain == appended.view.tolist()


def test_a_copy_goes_its_own_way() -> None:
    """What is appended to a copy, waiting or not, is not in the original."""
    growing = Growing(np.int32)
    growing.append(1)
    copy = deepcopy(growing)
    copy.append(2)
    assert (growing.view.tolist(), copy.view.tolist()) == ([1], [1, 2])


def test_one_that_begins_with_an_array_goes_on_from_a_copy() -> None:
    """Of its type; what it was made of stays as it was."""
    values = np.array([1, 2], dtype=np.int32)
    growing = Growing.of(values)
    growing.append(3)
    assert growing.view.tolist() == [1, 2, 3]
    assert growing.view.dtype == np.int32
    values[0] = 9
    assert growing.view[0] == 1
