"""What ``sidebeat import`` is given: files, folders and archives; and what stands beside a file.

A folder stands for the activity files in it, a ``.zip`` for those that it holds, a ``.gz`` for the
one inside.  Beside ``watch.csv`` may lie ``watch.csv.toml`` with what is true of that file alone.
"""

from __future__ import annotations

import gzip
import shutil
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, Protocol

from replay.errors import ActivityFileError
from replay.files_only import read_text, why_unread
from replay.toml_table import TomlError, parse_toml

SUFFIXES: Final = (".fit", ".tcx", ".gpx", ".csv", ".tsv", ".jsonl", ".ndjson")
"""What a folder or an archive is searched for."""
_PACKED: Final = (".gz", ".zip")
LARGEST_BYTES: Final = 400_000_000
"""Unpacked, of one archive: no activity is larger, and a small archive may hold a huge one."""
BESIDE: Final[Mapping[str, type]] = {
    "label": str, "role": str, "placement": str, "firmware": str, "offset_s": float,
    "time_column": str, "bpm_column": str, "time_format": str, "unit": str, "timezone": str,
    "start": str,
}  # fmt: skip
"""What may stand in the TOML file beside a file."""
ROLES: Final = ("test", "reference")


class Readable(Protocol):
    """Bytes in order."""

    def read(self, size: int = -1, /) -> bytes:
        """The next bytes."""
        ...


@contextmanager
def unpacked(given: Sequence[Path]) -> Iterator[list[Path]]:
    """The files that are meant, in order; those of archives lie in a folder that goes away again.

    Raises :class:`ActivityFileError`.
    """
    with TemporaryDirectory(prefix="sidebeat-import-") as scratch:
        found: list[Path] = []
        for number, path in enumerate(given):
            found += _meant(path, Path(scratch) / str(number))
        yield found


def sidecar_options(path: Path) -> dict[str, Any]:
    """What the TOML file beside ``path`` says, if there is one.

    Raises :class:`ActivityFileError` for one that cannot be read or says something else.
    """
    beside = path.with_name(f"{path.name}.toml")
    try:
        text = read_text(beside)
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeError) as error:
        raise ActivityFileError(f"{beside}: cannot be read: {why_unread(error)}") from None
    try:
        options = parse_toml(text)
    except TomlError as error:
        raise ActivityFileError(f"{beside}: {error}") from None
    for name, value in options.items():
        wanted = BESIDE.get(name)
        if wanted is None:
            raise ActivityFileError(f"{beside}: {name} is none of {', '.join(BESIDE)}")
        right = isinstance(value, (int, float) if wanted is float else wanted)
        if not right or isinstance(value, bool):
            kind = "a number" if wanted is float else "a text in quotation marks"
            raise ActivityFileError(f"{beside}: {name} must be {kind}")
    if options.get("role", ROLES[0]) not in ROLES:
        raise ActivityFileError(f"{beside}: role must be test or reference")
    return options


def _meant(path: Path, scratch: Path) -> list[Path]:
    if path.is_dir():
        inside = sorted(
            one for one in path.iterdir()
            if one.suffix.lower() in (*SUFFIXES, *_PACKED) and one.is_file()
        )  # fmt: skip
        if not inside:
            raise ActivityFileError(f"{path}: no activity file lies in this folder")
        return [file for n, one in enumerate(inside) for file in _meant(one, scratch / str(n))]
    if path.suffix.lower() not in _PACKED or not path.is_file():
        return [path]
    scratch.mkdir(parents=True)
    try:
        if path.suffix.lower() == ".gz":
            target = scratch / path.stem
            with gzip.GzipFile(path) as source:
                _copy(path, source, target, LARGEST_BYTES)
            return [target]
        return _members(path, scratch)
    except (
        OSError,
        EOFError,
        zlib.error,
        zipfile.BadZipFile,
        RuntimeError,
        NotImplementedError,
    ) as e:
        raise ActivityFileError(f"{path}: cannot be unpacked: {e}") from None


def _members(path: Path, scratch: Path) -> list[Path]:
    found: list[Path] = []
    left = LARGEST_BYTES
    with zipfile.ZipFile(path) as archive:
        for number, member in enumerate(sorted(archive.infolist(), key=lambda one: one.filename)):
            name = Path(member.filename).name  # never a path of the archive's choosing
            if member.is_dir() or Path(name).suffix.lower() not in SUFFIXES:
                continue
            folder = scratch / str(number)
            folder.mkdir()
            with archive.open(member) as source:
                left -= _copy(path, source, folder / name, left)
            found.append(folder / name)
    if not found:
        raise ActivityFileError(f"{path}: no activity file is in this archive")
    return found


def _copy(path: Path, source: Readable, target: Path, most: int) -> int:
    with target.open("wb") as sink:
        shutil.copyfileobj(_Limited(path, source, most), sink, 1 << 20)
        return sink.tell()


class _Limited:
    """A stream that ends with an error where it becomes larger than anything to import."""

    def __init__(self, path: Path, source: Readable, most: int) -> None:
        self._path = path
        self._source = source
        self._left = most

    def read(self, size: int = -1) -> bytes:
        """The next bytes."""
        data = self._source.read(size)
        self._left -= len(data)
        if self._left < 0:
            raise ActivityFileError(
                f"{self._path}: holds more than {LARGEST_BYTES // 10**6} MB, which no activity has"
            )
        return data
