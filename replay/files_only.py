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
    # Without waiting for the other end of a pipe; for a file the flag means nothing.
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, NOT_A_FILE)
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def read_text(path: Path) -> str:
    """The text of a file that people write, UTF-8, with any ends of lines.

    Raises as :func:`open_file`, and ``UnicodeDecodeError``.
    """
    with io.TextIOWrapper(open_file(path), encoding="utf-8-sig") as file:
        return file.read()
