"""A Dask cluster on this machine, its workers processes of their own, as a program of its own.

It prints the address of its scheduler and the process ids of its workers, and ends with its stdin.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cluster:
    """``address``: of its scheduler; ``workers``: ids of the processes that compute."""

    address: str
    workers: tuple[int, ...]


@contextmanager
def dask_cluster(workers: int) -> Iterator[Cluster]:
    """A running cluster with so many workers of one thread each."""
    command = [sys.executable, "-m", "tests.standins.dask_cluster", str(workers)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        try:
            told = json.loads(process.stdout.readline())
            yield Cluster(told["address"], tuple(told["workers"]))
        finally:
            process.stdin.close()
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()


def main() -> None:
    """Run until stdin ends."""
    import dask
    from distributed import LocalCluster

    # Workers, and one that comes in the place of a dead one, are forked from a process that has
    # read the programs: reading them costs more than all that the tests ask of a worker.
    dask.config.set({"distributed.worker.multiprocessing-method": "forkserver"})

    with LocalCluster(
        n_workers=int(sys.argv[1]), threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        workers = [one.process.process.pid for one in cluster.workers.values()]
        print(json.dumps({"address": cluster.scheduler_address, "workers": workers}), flush=True)
        sys.stdin.read()


if __name__ == "__main__":
    main()
