"""The captures of a manifest: each of its sessions imported once, over all cores.

A capture's name holds a digest of all that it is made of: what the manifest says of the session,
the files themselves, and the version of this program.  What is there already is not made again.
"""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from analysis.processes import pool_of_processes, usable_cores
from analysis.study.manifest import ENDINGS, ListedSession, load_manifest
from analysis.study.reading import LeftOut
from live.cli.main import version
from replay.errors import SidebeatError
from replay.files import LARGEST_BYTES
from replay.files_only import open_file

FEWEST_FOR_PROCESSES: Final = 3
"""Sessions to import below which starting processes takes longer than it saves."""

Told = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Imported:
    """``captures``: of the sessions that could be imported; ``left_out``: the others."""

    captures: tuple[Path, ...]
    left_out: tuple[LeftOut, ...]


def is_manifest(place: Path) -> bool:
    """Whether what a study is given is one."""
    return place.suffix.lower() in ENDINGS and place.is_file()


def import_listed(
    manifest: Path, folder: Path | None, *, workers: int | None, told: Told
) -> Imported:
    """The captures of a manifest's sessions, made where they are not there yet.

    ``folder``: where they lie, by default beside the manifest, in ``NAME_captures``.  Raises
    :class:`SidebeatError` for a manifest that is not right, before anything is imported, and for a
    folder that cannot be made.
    """
    sessions = load_manifest(manifest)
    place = folder or manifest.with_name(f"{manifest.stem}_captures")
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SidebeatError(f"{place}: the folder cannot be made: {error.strerror}") from None
    captures: list[Path] = []
    left_out: list[LeftOut] = []
    results = _made(sessions, place, workers or usable_cores())
    for number, (session, result) in enumerate(zip(sessions, results, strict=True), 1):
        if isinstance(result, Path):
            captures.append(result)
        else:
            left_out.append(LeftOut(str(session.reference), result))
        told(number, len(sessions))
    return Imported(tuple(captures), tuple(left_out))


def _made(sessions: Sequence[ListedSession], folder: Path, workers: int) -> Iterable[Path | str]:
    make = partial(make_capture, folder=folder, software=f"sidebeat {version()}")
    workers = min(workers, len(sessions))
    if workers < 2 or len(sessions) < FEWEST_FOR_PROCESSES:
        yield from map(make, sessions)
        return
    with pool_of_processes(workers) as pool:
        yield from pool.map(make, sessions)


def make_capture(session: ListedSession, folder: Path, software: str) -> Path | str:
    """The capture of one session, or why there is none, in one sentence."""
    from live.cli.import_files import import_files  # noqa: PLC0415 - only where there is none yet

    try:
        target = folder / f"{session.reference.stem}_{_digest(session, software)}.sqlite"
        if target.exists():
            return target
        # Made aside: what an interruption leaves is not taken for a session the next time.
        with TemporaryDirectory(prefix=".making-", dir=folder) as aside:
            made = Path(aside, target.name)
            import_files(_as_typed(session, made), ask=False, software=software)
            made.replace(target)
    except SidebeatError as error:
        return str(error)
    except OSError as error:
        return f"{error.filename or session.reference}: cannot be read: {error.strerror}"
    return target


def _digest(session: ListedSession, software: str) -> str:
    digest = hashlib.sha256(f"{software}\n{session!r}".encode())
    for path in (session.reference, *(pair.file for pair in session.pairs)):
        with open_file(path, LARGEST_BYTES) as stream:
            digest.update(stream.read())
        beside = path.with_name(f"{path.name}.toml")  # what is true of that file alone
        digest.update(beside.read_bytes() if beside.is_file() else b"")
    return digest.hexdigest()[:10]


def _as_typed(session: ListedSession, target: Path) -> argparse.Namespace:
    """The command line of ``sidebeat import`` that makes this capture."""
    pairs = session.pairs
    return argparse.Namespace(
        files=[session.reference, *(pair.file for pair in pairs)],
        into=None,
        label=[session.reference_label, *(pair.label for pair in pairs)],
        role=["reference", *("test" for _ in pairs)],
        placement=["", *(pair.placement for pair in pairs)],
        firmware=["", *(pair.firmware for pair in pairs)],
        offset_s=["", *("auto" if p.offset_s is None else p.offset_s for p in pairs)],
        one_clock=session.one_clock,
        sections=None,
        reference=None,
        wearer=session.wearer,
        activity=session.activity,
        time_column=None,
        bpm_column=None,
        time_format=None,
        unit=None,
        timezone=session.timezone,
        start=None,
        out=target,
    )
