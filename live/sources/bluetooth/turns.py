"""Whose turn it is on one adapter: one sensor connects at a time, and nobody scans meanwhile.

No radio in here.  Who has failed less often goes first, so that a sensor that cannot be linked
never makes another wait for more than one of its attempts; the scan takes what is left.
"""

from __future__ import annotations

import asyncio
import heapq
import math
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from itertools import count
from typing import Final

SCAN_RANK: Final = math.inf


class Turns:
    """The turns of one adapter, on one event loop."""

    def __init__(self) -> None:
        self._queue: list[tuple[float, int, asyncio.Future[None]]] = []
        self._order = count()
        self._taken = False
        self._is_scan = False

    @property
    def waiting(self) -> int:
        """How many sensors wait to connect."""
        return sum(rank < SCAN_RANK and not f.done() for rank, _, f in self._queue)

    @property
    def best_rank(self) -> float:
        """The rank of the sensor that is next to connect; infinite if none waits."""
        return min((r for r, _, f in self._queue if not f.done()), default=SCAN_RANK)

    @property
    def has_queue(self) -> bool:
        """Whether another sensor is being linked, or waits for it."""
        return bool(self.waiting) or (self._taken and not self._is_scan)

    async def take(self, rank: float) -> None:
        """Wait for the turn; the lowest rank is served first.  Give it back afterwards."""
        if not self._taken:
            self._taken, self._is_scan = True, rank == SCAN_RANK
            return
        future: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        heapq.heappush(self._queue, (rank, next(self._order), future))
        try:
            await future
        except asyncio.CancelledError:
            if future.done() and not future.cancelled():
                self.give_back()  # it came in the moment in which nobody wanted it any more
            raise

    def give_back(self) -> None:
        """The turn is over: the next one has it."""
        while self._queue:
            rank, _, future = heapq.heappop(self._queue)
            if not future.done():
                self._is_scan = rank == SCAN_RANK
                future.set_result(None)
                return
        self._taken = False

    @asynccontextmanager
    async def scanning(self) -> AsyncIterator[None]:
        """The turn of a scan: when no sensor waits to connect."""
        await self.take(SCAN_RANK)
        try:
            yield
        finally:
            self.give_back()
