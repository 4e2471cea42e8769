"""Guards against what the layers below do on a bad day.

An upper bound on every wait for the radio, even where the wait cannot be cancelled; and an ear
for the complaints of a bus connection that died.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Coroutine
from typing import Any, TypeVar

_T = TypeVar("_T")
_log = logging.getLogger(__name__)
_begun: set[asyncio.Task[Any]] = set()


def begun(work: Coroutine[Any, Any, _T]) -> asyncio.Task[_T]:
    """A call as a task of its own, which may end as it likes: where whoever began it has been
    cancelled meanwhile, nobody looks at an error of it, and the loop does not complain of that.
    """
    task = asyncio.ensure_future(work)
    _begun.add(task)  # a reference, or it might vanish in the middle of its work
    task.add_done_callback(_forget)
    return task


async def bounded(work: Coroutine[Any, Any, _T], limit_s: float, grace_s: float = 3.0) -> _T:
    """Result of ``work``; raises :class:`TimeoutError` after ``limit_s`` seconds.

    A plain timeout cancels and then waits for as long as the cancelled work likes to clean up;
    bleak's cleaning up is itself a call to a daemon that may have stopped answering.  Here the
    cancelled work gets ``grace_s`` seconds and is then left to itself.
    """
    task = begun(work)
    try:
        done, _ = await asyncio.wait({task}, timeout=limit_s)
    except asyncio.CancelledError:
        await end_task(task, grace_s)
        raise
    if task.cancelled():
        raise TimeoutError("the call was given up by the layer below")  # not by whoever waits here
    if done:
        return task.result()
    await end_task(task, grace_s)
    raise TimeoutError(f"no answer within {limit_s:g} s")


async def end_task(task: asyncio.Task[Any], grace_s: float = 3.0) -> None:
    """Cancel; wait ``grace_s`` seconds at most for its cleaning up, then leave it to itself."""
    task.cancel()
    _, pending = await asyncio.wait({task}, timeout=grace_s)
    if pending:
        _log.warning("a Bluetooth call did not end within %g s of being cancelled", grace_s)


def _forget(task: asyncio.Task[Any]) -> None:
    _begun.discard(task)
    if not task.cancelled():
        task.exception()  # looked at, so that the loop does not report it as never retrieved


def expect_dead_buses(loop: asyncio.AbstractEventLoop) -> None:
    """Take the loop's complaints about the sockets of a bus that died; pass on all others.

    When the system bus dies, dbus-fast leaves behind futures that hold the error and that nobody
    can reach to look at.  The loss itself is noticed and told; these complaints would only
    fill the tester's terminal.
    """
    before = loop.get_exception_handler()

    def handler(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        future = context.get("future")
        error = context.get("exception")
        is_plain_future = isinstance(future, asyncio.Future) and not isinstance(
            future, asyncio.Task
        )
        if is_plain_future and isinstance(error, EOFError | OSError):
            _log.debug("left behind by a dead bus: %r", error)
        elif before is not None:
            before(loop, context)
        else:
            loop.default_exception_handler(context)

    loop.set_exception_handler(handler)
