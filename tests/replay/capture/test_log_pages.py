"""What of a log is new: by its bytes alone."""

from __future__ import annotations

import numpy as np

from replay.capture.log_pages import LogPages
from replay.capture.schema import PAGE_SIZE
from tests.standins.stored_rows import log

FRAME = 24 + PAGE_SIZE
A, B = bytes(range(256)) * 16, bytes(PAGE_SIZE)


def changed(page: bytes, *places: int) -> bytes:
    made = bytearray(page)
    for place in places:
        made[place] ^= 1
    return bytes(made)


def known(data: bytes, frame: int, first: int, after: int, *, block: int | None = None) -> bool:
    """Whether bytes ``first`` to before ``after`` of the page of a frame are known there."""
    pages = LogPages(data)
    for begin in range(0, len(data), block or len(data)):
        pages.go_to(begin, end := min(begin + (block or len(data)), len(data)))
        at = 32 + frame * FRAME + 24 + first
        if begin <= at < end:
            return bool(pages.are_known(np.array([at]), np.array([at + after - first]))[0])
    raise AssertionError("there is no such place")


def test_what_lies_behind_the_last_difference_is_known() -> None:
    """To the byte; of a page that is written for the first time nothing is."""
    data = log([(2, A), (3, B), (2, changed(A, 8, 1000)), (3, B)])
    assert not known(data, 0, 2000, 2020)
    assert not known(data, 2, 900, 920)
    assert not known(data, 2, 1000, 1020)
    assert known(data, 2, 1001, 1028)
    assert known(data, 2, PAGE_SIZE - 20, PAGE_SIZE)
    assert known(data, 3, 0, PAGE_SIZE)


def test_a_page_is_compared_with_the_one_that_was_written_last() -> None:
    """And not with one before that, or with another page."""
    data = log([(2, A), (2, changed(A, 3000)), (2, A), (3, A), (2, A)])
    assert not known(data, 2, 2900, 2950)
    assert known(data, 2, 3100, 3150)
    assert not known(data, 3, 100, 120)
    assert known(data, 4, 100, 120)


def test_what_goes_on_in_the_next_frame_is_not_known() -> None:
    """No row does; in a log of which a piece is gone one may seem to."""
    data = log([(2, A), (2, A), (3, B)])
    assert known(data, 1, PAGE_SIZE - 10, PAGE_SIZE)
    assert not known(data, 1, PAGE_SIZE - 10, PAGE_SIZE + 1)


def test_a_frame_that_lies_in_two_blocks_is_compared_in_both() -> None:
    """It is gone through twice, and is not its own page before."""
    data = log([(2, A), (2, changed(A, 4000)), (2, A)])
    for block in (3000, 5000, FRAME, 2 * FRAME + 500):
        assert not known(data, 1, 3900, 3990, block=block)
        assert known(data, 1, 4001, 4090, block=block)
        assert not known(data, 2, 100, 120, block=block)


def test_a_page_that_is_cut_off_is_not_known() -> None:
    """The last frame lacks its end, and so does what is before the first."""
    data = log([(2, A), (2, A)])[:-1]
    assert not known(data, 1, 100, 120)
    pages = LogPages(data)
    pages.go_to(0, len(data))
    assert not pages.are_known(np.array([10]), np.array([30]))[0]
