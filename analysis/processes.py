"""Processes beside this one, over which the work on many captures is spread."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import connection
from typing import Final

from replay.errors import SidebeatError

BLAS_THREADS: Final = "OPENBLAS_NUM_THREADS"
"""Environment variable of the linear algebra that numpy's wheels bring, read when it is loaded."""


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def pool_of_processes(
    workers: int,
    begin: Callable[[], object] | None = None,
    *,
    tasks_each: int | None = None,
) -> Iterator[ProcessPoolExecutor]:
    """A pool whose processes end with this one, however it ends.

    ``begin``: called in each first.  ``tasks_each``: after so many a new one takes its place.

    They are spawned everywhere alike: a forked one would inherit threads and open files.  An
    interruption at the keyboard is left to this process, and linear algebra is done in one thread
    each.  Leaving by an error waits for what is being done and drops what is not begun.

    Raises :class:`SidebeatError` where one of them was ended from outside.
    """
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(
        workers,
        context,
        initializer=_live_and_die_with_the_parent,
        initargs=(begin,),
        max_tasks_per_child=tasks_each,
    )
    try:
        with one_thread_each():
            yield pool
    except BrokenProcessPool:
        raise SidebeatError(
            "a process that worked beside this one was ended from outside; what was done is kept, "
            "and the next run takes it up"
        ) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _live_and_die_with_the_parent(begin: Callable[[], object] | None) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_parent, daemon=True).start()
    if begin is not None:
        begin()


def _end_with_the_parent() -> None:
    # Each worker holds the far end of the pool's pipe, so that one that waits for work would wait
    # for ever where its parent was killed.
    parent = multiprocessing.parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Processes started meanwhile do linear algebra in one thread, unless it is said otherwise.

    The cores are taken already; a second thread waits busily for matrices that are small.
    """
    before = os.environ.get(BLAS_THREADS)
    os.environ.setdefault(BLAS_THREADS, "1")
    try:
        yield
    finally:
        if before is None:
            del os.environ[BLAS_THREADS]
