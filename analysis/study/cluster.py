"""The work of each session on an existing Dask cluster.

A capture's bytes go out with its task, and its record comes back: workers need neither the files
nor the cache of this machine, only this program.  Records are kept here as they come, so that an
interrupted study loses nothing that was done.  A task whose worker dies is given to another one by
the cluster itself.  Workers that would compute otherwise (another version of this program, of numpy
or of scipy) are refused: a study's numbers do not depend on where they were made.

Dask's protocol runs code that it is sent: use it in a network that you trust.
"""

from __future__ import annotations

import asyncio
import importlib
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from analysis.study.row import SessionRow, row_of
from analysis.study.row_reading import read_row
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from analysis.session.cache import RecordCache

CONNECT_S: Final = 15
"""Seconds in which a scheduler must answer, and have a worker."""
AHEAD: Final = 3
"""Tasks for each thread of the cluster that are sent at once: enough that none waits, and few
enough that the captures of a large study are not all in memory."""


def read_over_cluster(
    files: Sequence[Path], scheduler: str
) -> Iterator[tuple[Path, SessionRow | str]]:
    """The row of each file, or why there is none, in the order in which they are done.

    Files that are no whole capture of their own (still being written, or damaged) are read here.
    Raises :class:`SidebeatError` if the cluster cannot be used.
    """
    waiting = list(reversed(files))
    if not waiting:
        return
    distributed = _distributed()
    with _client(distributed, scheduler) as client:
        threads = _check_workers(client, scheduler)
        sent: dict[Any, tuple[Path, RecordCache]] = {}
        running = distributed.as_completed(loop=client.loop)
        while waiting or sent:
            while waiting and len(sent) < AHEAD * threads:
                path = waiting.pop()
                here = _sendable(path)
                if isinstance(here, tuple):
                    data, cache = here
                    future = client.submit(compute, data, pure=False)
                    sent[future] = path, cache
                    running.add(future)
                else:
                    yield path, here
            if sent:
                future = next(running)
                path, cache = sent.pop(future)
                yield path, _received(future, path, cache, scheduler)


def compute(data: bytes) -> bytes | str:
    """What a worker does: the record of a capture as JSON, or why there is none, with ``{path}``
    where the file is named.
    """
    from analysis.session.cache import encode_record  # noqa: PLC0415 - where it runs
    from analysis.session.pipeline import computed_record  # noqa: PLC0415
    from replay.capture import Capture  # noqa: PLC0415

    with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
        path = Path(folder, "capture.sqlite")
        path.write_bytes(data)
        try:
            with Capture.open(path) as capture:
                return encode_record(computed_record(capture))
        except SidebeatError as error:
            return str(error).replace(str(path), "{path}")


def _versions(dask_worker: Any) -> tuple[str, int]:  # noqa: ANN401 - a class without types
    """Of what a worker computes with, and its threads; runs there (Dask gives it its worker)."""
    from analysis.session.provenance import computation_version  # noqa: PLC0415 - where it runs

    return computation_version(), int(dask_worker.state.nthreads)


def _distributed() -> Any:  # noqa: ANN401 - a module without types
    try:
        import distributed  # noqa: PLC0415 - an extra
    except ImportError:
        raise SidebeatError(
            "a cluster needs the package distributed, of the extra 'cluster'"
        ) from None
    return distributed


def _client(distributed: Any, scheduler: str) -> Any:  # noqa: ANN401 - as above
    try:
        # Asked first: a client that finds nobody leaves its threads behind.
        asyncio.run(_reach(scheduler))
        return distributed.Client(
            scheduler, timeout=CONNECT_S, set_as_default=False, name="sidebeat-study"
        )
    except (OSError, ValueError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise SidebeatError(f"{scheduler}: no Dask scheduler answers there ({reason})") from None


async def _reach(scheduler: str) -> None:
    """Raises ``OSError`` where nobody speaks Dask's protocol, ``ValueError`` for no address."""
    comms: Any = importlib.import_module("distributed.comm")  # an extra, and without types
    comm = await comms.connect(scheduler, timeout=CONNECT_S)
    await comm.close()


def _check_workers(client: Any, scheduler: str) -> int:  # noqa: ANN401 - as above
    """Threads of the cluster, if it has any and all compute as this program does."""
    from analysis.session.provenance import computation_version  # noqa: PLC0415 - reads sources

    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError:
        raise SidebeatError(f"{scheduler}: the cluster has no workers") from None
    try:
        told = client.run(_versions)
    except Exception as error:  # whatever a worker raised that has not this program
        raise SidebeatError(
            f"{scheduler}: its workers cannot run this program ({type(error).__name__}: {error}); "
            "install the same version of Sidebeat there"
        ) from None
    own = computation_version()
    if strange := [address for address, (version, _) in told.items() if version != own]:
        raise SidebeatError(
            f"{scheduler}: {len(strange)} of its {len(told)} workers compute with another version "
            "of this program, of Python, numpy or scipy, and could give other numbers"
        )
    return sum(threads for _, threads in told.values())


def _sendable(path: Path) -> tuple[bytes, RecordCache] | SessionRow | str:
    """A capture's bytes with the place that its record is kept in; or what reading it here gave."""
    from analysis.session.cache import RecordCache  # noqa: PLC0415 - only where sessions are read
    from replay.capture import Capture  # noqa: PLC0415

    try:
        with Capture.open(path) as capture:
            if capture.clean:
                return path.read_bytes(), RecordCache(capture)
    except (SidebeatError, OSError):
        pass  # said below, in the words that it has everywhere
    return read_row(path) or ""


def _received(future: Any, path: Path, cache: RecordCache, scheduler: str) -> SessionRow | str:  # noqa: ANN401
    from analysis.session.cache import decode_record  # noqa: PLC0415 - as above

    try:
        result = future.result()
    except Exception as error:  # a task that failed, or whose workers died three times
        if future.client.status != "running":
            raise SidebeatError(
                f"{scheduler}: the connection was lost; what was done is kept, and the next run "
                "takes it up"
            ) from None
        return f"{path}: {scheduler} could not compute it: {type(error).__name__}: {error}"
    if isinstance(result, str):
        return result.replace("{path}", str(path))
    record = decode_record(result)
    cache.store(record)
    return row_of(record, str(path))
