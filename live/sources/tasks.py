"""Several tasks of one source, which serve until they are ended."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import Any


async def until_one_fails(tasks: Iterable[asyncio.Task[Any]]) -> None:
    """Wait for as long as they serve; raises what one of them raises.

    Other than ``asyncio.gather`` it cancels none of them when it is cancelled itself: whoever waits
    ends them in its own order, and each once.  A second cancellation would cut off what ends
    because of the first.
    """
    serving = set(tasks)
    while serving:
        done, serving = await asyncio.wait(serving, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
