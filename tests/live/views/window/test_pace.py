"""How often the window draws: by what its pictures cost."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from live.views.window.live.pace import FRAME_MS, SLOWEST_MS, Spending


def paced(costs_ms):
    """The times between pictures of these costs, one after the other."""
    spending, now_ms, spent_ms = Spending(), 0.0, 0.0
    spending.next_ms(0.0, 0.0)
    interval = FRAME_MS
    for cost in costs_ms:
        now_ms, spent_ms = now_ms + interval, spent_ms + cost
        interval = spending.next_ms(now_ms / 1000, spent_ms / 1000)
        yield interval


def settled(*costs_ms):
    """The mean time between pictures, once many have been drawn, and the share of a core."""
    costs = list(itertools.islice(itertools.cycle(costs_ms), 200))
    intervals = list(paced(costs))[100:]
    return sum(intervals) / len(intervals), sum(costs[100:]) / sum(intervals)


@pytest.mark.parametrize("costs", [(5,), (13,), (10, 10, 10, 16)])
def test_cheap_pictures_come_nine_times_a_second(costs):
    """Nothing is left out as long as drawing takes less than its share."""
    interval, _ = settled(*costs)
    assert interval == pytest.approx(FRAME_MS, rel=0.03)


def test_dear_pictures_come_less_often_so_that_their_share_holds():
    """Pictures of 22 ms would take a fifth of a core: they take an eighth."""
    interval, share = settled(22)
    assert share == pytest.approx(1 / 8, rel=0.03)
    assert FRAME_MS < interval < SLOWEST_MS


@pytest.mark.parametrize("costs", [(10, 10, 10, 10, 70), (8, 8, 40), (60, *[13] * 6)])
def test_dear_pictures_among_cheap_ones_do_not_break_the_share(costs):
    """The picture of a new second is dearer: all together take an eighth."""
    interval, share = settled(*costs)
    assert share == pytest.approx(1 / 8, rel=0.05)
    assert FRAME_MS < interval < SLOWEST_MS


@given(st.lists(st.floats(0, 5000), min_size=1, max_size=50))
def test_the_picture_never_comes_later_than_the_slowest(costs):
    """Whatever they cost, there are some five a second asked for, and never more than nine."""
    assert all(FRAME_MS <= interval <= SLOWEST_MS for interval in paced(costs))


def test_it_is_fast_again_soon_after_what_was_dear():
    """A second after the load has gone, pictures come as often as before."""
    intervals = list(paced([400] * 20 + [10] * 8))
    assert intervals[19] == SLOWEST_MS
    assert intervals[-1] == FRAME_MS
