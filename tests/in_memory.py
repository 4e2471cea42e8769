"""Where tests work: in memory, where there is enough of it.

The suite makes some twenty thousand files and takes most of them away again.  A disk takes up to
milliseconds for each, and a slow one makes tests wait that are about something else.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

FREE_BYTES: Final = 4 * 2**30
"""Of memory and of the folder; a run leaves a tenth of it."""
FOLDER: Final = Path("/dev/shm")  # noqa: S108 - each user gets a folder of their own in it
MEMORY: Final = Path("/proc/meminfo")


def folder() -> str | None:
    """The folder for temporary files; ``None`` if it is best left to the system, or the user has
    named one.  In containers it is often small, or no place for programs, and tests write some.
    """
    if "TMPDIR" in os.environ:
        return None
    try:
        found = os.statvfs(FOLDER)
        told = dict(line.split(":") for line in MEMORY.read_text().splitlines())
        memory = int(told["MemAvailable"].split()[0]) * 1024
    except (AttributeError, OSError, KeyError, ValueError):
        return None
    free = min(found.f_bavail * found.f_frsize, memory)
    is_usable = os.access(FOLDER, os.W_OK) and not found.f_flag & os.ST_NOEXEC
    return str(FOLDER) if is_usable and free >= FREE_BYTES else None
