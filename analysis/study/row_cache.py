"""Rows of sessions in the user's cache, by the checksum of the capture's file.

A study of a thousand sessions would open a thousand databases, only to find the name of each
record; a row that is found by the file's own bytes needs none of that.  Its record lies in the
cache of :mod:`analysis.session.cache` beside it.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from functools import cache
from pathlib import Path

from analysis.session.cache import KeptFile, cache_folder, is_being_written
from analysis.session.provenance import computation_version, file_sha256
from analysis.study import row as source
from analysis.study.row import SessionRow
from replay.errors import SidebeatError


class RowCache:
    """The kept row of a capture.

    One beside which SQLite keeps something is never kept: it is being written, or was not closed.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._sha256 = _checksum(path)
        self._kept: KeptFile | None = None
        try:
            if self._sha256:
                head = f"sidebeat session row {row_version()} {self._sha256}".encode()
                place = cache_folder().with_name("rows") / f"{self._sha256}.json"
                self._kept = KeptFile(place, head)
        except (OSError, RuntimeError):
            return

    def load(self) -> SessionRow | None:
        """The row, if one is kept that fits and is whole."""
        import msgspec  # noqa: PLC0415 - only where sessions are read

        body = None if self._kept is None else self._kept.load()
        if body is None:
            return None
        try:
            row = msgspec.json.decode(body, type=SessionRow)
        except msgspec.MsgspecError:
            return None
        return replace(row, path=str(self._path))

    def store(self, row: SessionRow) -> None:
        """Keep the row of a capture that was closed; where that cannot be done, nothing is.

        Nor where the file is another one now, since somebody noted something while it was read.
        """
        import msgspec  # noqa: PLC0415 - as above

        if self._kept is not None and row.clean and _checksum(self._path) == self._sha256:
            self._kept.store(msgspec.json.encode(replace(row, path="")))


def _checksum(path: Path) -> str:
    """Of the file, empty where it cannot be told, or may not be all of it."""
    try:
        return "" if is_being_written(path) else file_sha256(path)
    except (OSError, SidebeatError):
        return ""


@cache
def row_version() -> str:
    """Of the computation, and of how a row is made of a record."""
    digest = hashlib.sha256(computation_version().encode())
    digest.update(Path(source.__file__).read_bytes())
    return digest.hexdigest()[:16]
