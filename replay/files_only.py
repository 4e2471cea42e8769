"""Opening what is to be read: a file, and nothing that would never end or never begin."""

from __future__ import annotations

import errno
import io
import os
import stat
from pathlib import Path
from typing import Final

NOT_A_FILE: Final = "this is no file, but a folder, pipe or device"


def open_file(path: Path) -> io.BufferedReader:
    """Open a regular file for reading.

    A pipe that nobody writes to would make the program wait for ever, and a device may have no
    end.  Raises ``OSError``, for anything else than a file with :data:`NOT_A_FILE` as its text.
    """
    try:
        stream = open(path, "rb", opener=_without_waiting)  # noqa: SIM115 - pathlib has no opener
    except IsADirectoryError:
        raise OSError(errno.EINVAL, NOT_A_FILE) from None
    if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
        stream.close()
        raise OSError(errno.EINVAL, NOT_A_FILE)
    return stream


def _without_waiting(path: str, flags: int) -> int:
    """Open without waiting for the other end of a pipe; for a file the flag means nothing."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def read_text(path: Path) -> str:
    """The text of a file that people write, UTF-8, with any ends of lines.

    Raises as :func:`open_file`, and ``UnicodeDecodeError``.
    """
    with io.TextIOWrapper(open_file(path), encoding="utf-8-sig") as file:
        return file.read()
