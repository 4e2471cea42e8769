"""Whose turn it is to connect: an event loop, but no radio and no time."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from live.sources.bluetooth.capacity import Capacity
from live.sources.bluetooth.turns import SCAN_RANK, Turns


def served(ranks: list[float]) -> list[float]:
    """In which order these are served while the first one has the turn."""

    async def main() -> list[float]:
        turns, order = Turns(), []
        await turns.take(0)

        async def one(rank: float) -> None:
            await turns.take(rank)
            order.append(rank)
            turns.give_back()

        tasks = [asyncio.create_task(one(rank)) for rank in ranks]
        await asyncio.sleep(0)
        turns.give_back()
        await asyncio.gather(*tasks)
        assert not turns.has_queue
        return order

    return asyncio.run(main())


def test_who_failed_less_often_goes_first_and_the_scan_last() -> None:
    """A sensor that keeps failing does not make one that was lost a moment ago wait in line."""
    assert served([SCAN_RANK, 7, 3, 0, 3]) == [0, 3, 3, 7, SCAN_RANK]


def test_a_turn_that_is_no_longer_wanted_is_passed_on() -> None:
    """Cancelled in any moment, also in that in which its turn came, nobody is left waiting."""

    async def main() -> None:
        turns = Turns()
        await turns.take(0)
        gone = asyncio.create_task(turns.take(1))
        stays = asyncio.create_task(turns.take(2))
        await asyncio.sleep(0)
        turns.give_back()  # now it is the turn of the first, who goes before noticing
        gone.cancel()
        with suppress(asyncio.CancelledError):
            await gone
        await asyncio.wait_for(stays, 5)
        turns.give_back()
        await asyncio.wait_for(turns.take(0), 5)

    asyncio.run(main())


def test_waiting_for_a_scan_to_end_is_not_waiting_for_a_turn() -> None:
    """Only another sensor makes a queue."""

    async def main() -> None:
        turns = Turns()
        async with turns.scanning():
            assert not turns.has_queue
            first = asyncio.create_task(turns.take(0))
            await asyncio.sleep(0)
            assert turns.has_queue
            assert turns.best_rank == 0
        await first
        assert turns.has_queue

    asyncio.run(main())


def links(count: int) -> Capacity:
    """An adapter with so many links, numbered from 1."""
    capacity = Capacity()
    for number in range(1, count + 1):
        capacity.linked(number)
    return capacity


def test_an_adapter_that_says_that_it_is_full_is() -> None:
    """Its word counts at once, with any number of links, until it holds more."""
    capacity = links(1)
    capacity.failed(2, said=True)
    assert capacity.is_full
    capacity.linked(2)
    assert not capacity.is_full


def test_failures_in_sight_beside_many_links_mean_a_full_adapter() -> None:
    """One sensor that fails twice beside five links, or two beside three."""
    five = links(5)
    five.failed(6, said=False)
    assert not five.is_full
    five.failed(6, said=False)
    assert five.is_full
    three = links(3)
    three.failed(4, said=False)
    three.failed(4, said=False)
    assert not three.is_full
    three.failed(5, said=False)
    assert three.is_full


def test_an_adapter_that_held_more_links_before_is_not_full() -> None:
    """What it once held it can hold again: the sensors are to blame."""
    capacity = links(7)
    for number in (6, 7):
        capacity.unlinked(number)
    for number in (6, 7, 6, 7):
        capacity.failed(number, said=False)
    assert not capacity.is_full


def test_a_link_that_ends_makes_room() -> None:
    """The end of a link is told to those who wait for room, and nobody else's."""
    capacity = links(5)
    capacity.failed(6, said=False)
    capacity.failed(6, said=False)
    assert not capacity.unlinked(9)
    assert capacity.unlinked(1)
    assert not capacity.is_full
    assert not capacity.unlinked(2)


def test_what_an_adapter_can_hold_outlasts_its_links() -> None:
    """Its limit, once met, is minded after all links broke: by those under way as well."""
    capacity = links(5)
    capacity.failed(6, said=True)
    for number in range(1, 6):
        capacity.unlinked(number)
    assert capacity.has_room({1, 2, 3, 4})
    assert not capacity.has_room({1, 2, 3, 4, 5})
    for number in range(1, 7):
        capacity.linked(number)
    assert capacity.has_room({7}), "it held more than that"
