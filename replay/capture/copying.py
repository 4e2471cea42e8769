"""Copying a capture, also while it is being recorded."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

from replay.capture.files import READ_ERRORS, cannot, copy_files, read_header
from replay.errors import CaptureError


def copy_capture(source: Path, target: Path) -> None:
    """Write all that is committed in ``source`` to the new single file ``target``.

    Safe at any time: the copy is one committed state, and a running recording is not disturbed.
    (A plain copy of a running capture's main file lacks what is still in its log.)  Raises
    :class:`CaptureError` if ``target`` exists or a file cannot be read or written.
    """
    read_header(source)
    try:
        os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644))
    except FileExistsError:
        raise CaptureError(f"{target}: the file exists already, and is not overwritten") from None
    except OSError as error:
        raise cannot("create", target, error) from None
    try:
        with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
            state = copy_files(source, Path(folder))
            with closing(sqlite3.connect(state)) as old, closing(sqlite3.connect(target)) as new:
                old.backup(new)
                new.execute("PRAGMA journal_mode = DELETE").fetchone()
    except (OSError, *READ_ERRORS) as error:
        target.unlink(missing_ok=True)
        raise cannot("copy", source, error) from None
    except CaptureError:
        target.unlink(missing_ok=True)
        raise
