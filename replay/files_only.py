"""Opening what is to be read: a file, and nothing that would never end or never begin."""

from __future__ import annotations

import errno
import io
import os
import stat
from pathlib import Path
from typing import Final

NOT_A_FILE: Final = "this is no file, but a folder, pipe or device"
LONGEST_TEXT: Final = 4_000_000
"""Bytes of a file that people write: a table of a study with 50,000 rows."""


def open_file(path: Path, longest: int | None = None) -> io.BufferedReader:
    """Open a regular file for reading.  ``longest``: bytes that it may have.

    A pipe that nobody writes to would make the program wait for ever, a device may have no end,
    and a file of gigabytes takes no place on a disk if nothing is in it.  Raises ``OSError``, for
    anything else than a file with :data:`NOT_A_FILE` as its text.
    """
    try:
        stream = open(path, "rb", opener=_without_waiting)  # noqa: SIM115 - pathlib has no opener
    except IsADirectoryError:
        raise OSError(errno.EINVAL, NOT_A_FILE) from None
    if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
        stream.close()
        raise OSError(errno.EINVAL, NOT_A_FILE)
    if longest is not None and os.fstat(stream.fileno()).st_size > longest:
        stream.close()
        raise OSError(errno.EINVAL, f"it has more than {longest / 1e6:,.0f} MB")
    return stream


def _without_waiting(path: str, flags: int) -> int:
    """Open without waiting for the other end of a pipe; for a file the flag means nothing."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def read_text(path: Path) -> str:
    """The text of a file that people write, UTF-8, with any ends of lines.

    At most :data:`LONGEST_TEXT`.  Raises as :func:`open_file`, and ``UnicodeDecodeError``.
    """
    with io.TextIOWrapper(open_file(path, LONGEST_TEXT), encoding="utf-8-sig") as file:
        return file.read()


def why_unread(error: OSError | UnicodeError) -> str:
    """A few words on what :func:`read_text` has raised."""
    if isinstance(error, OSError):
        return error.strerror or str(error)
    return "it is no text"


def user_home() -> Path:
    """The folder of this user; where the system knows of none, one in which nothing can be made."""
    home = Path(os.path.expanduser("~"))  # noqa: PTH111 - pathlib's own raises where there is none
    return home if home.is_absolute() else Path(os.sep, "nonexistent")
