"""A pool of processes without processes."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from typing import Any


class _Here:
    def submit(self, work: Callable[..., Any], /, *arguments: Any) -> Future[Any]:
        done: Future[Any] = Future()
        work, arguments = _sent((work, arguments))
        try:
            result = work(*arguments)
        except Exception as error:  # whoever asks for the result is to have it
            done.set_exception(_sent(error))
        else:
            done.set_result(_sent(result))
        return done


def _sent(thing: Any) -> Any:
    """As it arrives where a process gets it from another."""
    return pickle.loads(pickle.dumps(thing))  # noqa: S301 - our own


@contextmanager
def pool_here(workers: int) -> Iterator[_Here]:
    """For :func:`analysis.processes.pool_of_processes`: what is given to it is done at once.

    Beginning a process and reading the program there takes longer than most of what tests give it.
    What could not be sent to a process fails here as well.
    """
    assert workers >= 1
    yield _Here()
