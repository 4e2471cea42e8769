"""Which files of a folder claim to be captures: what else lies there is none of a study's business.

A folder of captures also holds plans, pages, notes and pictures.  A file claims to be a capture by
its ending, ``.sqlite``, or, whatever it is called, by what its first 100 bytes say.  One that makes
the claim and is none is told of; anything else is counted and passed over.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from replay.capture.schema import APPLICATION_ID
from replay.errors import SidebeatError
from replay.files_only import open_file

_ENDING: Final = ".sqlite"
_SQLITE: Final = b"SQLite format 3\x00"
_APPLICATION_ID_AT: Final = slice(68, 72)
"""Where a database says which program it belongs to (SQLite, "Database File Format", 1.3)."""
_BESIDE: Final = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside an open file."""


@dataclass(frozen=True, slots=True)
class Found:
    """``files``: to be read, in order; ``others``: that no study reads, and that lie among them."""

    files: tuple[Path, ...]
    others: tuple[Path, ...]


def find_captures(places: Iterable[Path]) -> Found:
    """The captures of these folders, and of the folders in them; files stand for themselves.

    Hidden files are passed over, and what SQLite keeps beside an open file.  Raises
    :class:`SidebeatError` for a place that does not exist or cannot be listed.
    """
    files: dict[Path, None] = {}
    others: dict[Path, None] = {}
    for place in places:
        if place.is_dir():
            for path in sorted(_inside(place)):
                (files if _claims_to_be_one(path) else others)[path] = None
        elif place.exists():
            files[place] = None
        else:
            raise SidebeatError(f"{place}: there is no such folder or file")
    return Found(tuple(files), tuple(path for path in others if path not in files))


def why_no_database(path: Path) -> str:
    """Why a file cannot be a capture, by its first bytes; empty if it may be one.

    Raises ``OSError``.
    """
    with open_file(path) as stream:
        head = stream.read(len(_SQLITE))
    if not head:
        return f"{path}: is empty"
    return "" if head == _SQLITE else f"{path}: is no capture"


def _inside(folder: Path) -> Iterator[Path]:
    try:
        next(folder.iterdir(), None)
    except OSError as error:
        raise SidebeatError(f"{folder}: cannot be listed: {error.strerror}") from None
    for path in folder.rglob("*"):
        parts = path.relative_to(folder).parts
        hidden = any(part.startswith(".") or part == "__pycache__" for part in parts)
        is_one = path.is_file() or (path.is_symlink() and not path.exists())
        if not hidden and is_one and not path.name.endswith(_BESIDE):
            yield path


def _claims_to_be_one(path: Path) -> bool:
    if path.suffix.lower() == _ENDING:
        return True
    try:
        with open_file(path) as stream:
            head = stream.read(_APPLICATION_ID_AT.stop)
    except OSError:
        return False
    own = head[_APPLICATION_ID_AT] == APPLICATION_ID.to_bytes(4, "big")
    return head.startswith(_SQLITE) and own
