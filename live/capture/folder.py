"""Whether a folder can hold a capture while it is written."""

from __future__ import annotations

import mmap
import tempfile
from pathlib import Path


def no_shared_maps(folder: Path) -> str:
    """One sentence if files of this folder cannot be mapped into shared memory; else empty.

    SQLite's log needs such a map while a capture is written (its index, "-shm").  Some network
    drives, and folders that a virtual machine shares with its host, have none.  Raises
    ``OSError`` if nothing can be written there at all.
    """
    with tempfile.NamedTemporaryFile(dir=folder, prefix=".sidebeat-") as file:
        file.write(bytes(mmap.PAGESIZE))
        file.flush()
        try:
            with mmap.mmap(file.fileno(), mmap.PAGESIZE) as shared:
                shared[0] = 1
                shared.flush()
        except (OSError, ValueError):
            return (
                f"{folder} is on a file system without shared memory maps, which a capture needs "
                "while it is written: choose a local folder"
            )
    return ""
