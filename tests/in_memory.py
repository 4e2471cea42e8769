"""Where tests work: in memory, where there is enough of it.

The suite makes thousands of files and takes most of them away again.  A slow disk makes tests wait
for that which are about something else.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Final

FREE_BYTES: Final = 4 * 2**30
"""Of memory and of the folder: with room to spare for what several tests at once may write."""
FOLDER: Final = Path("/dev/shm")  # noqa: S108 - each run makes a folder of its own in it
MEMORY: Final = Path("/proc/meminfo")
PREFIX: Final = "sbtest"
"""Short, since paths of sockets are."""


def place() -> tempfile.TemporaryDirectory[str] | None:
    """A folder for all temporary files of this run, which goes with it; what runs left behind that
    were killed is taken away before.

    ``None`` if they are best left to the system, or the user has named a place.  In containers
    memory's folder is often small, or no place for programs, and tests write some.
    """
    if "TMPDIR" in os.environ or not _is_usable():
        return None
    for left in FOLDER.glob(f"{PREFIX}*-*"):
        owner = left.name.removeprefix(PREFIX).partition("-")[0]
        if owner.isdigit() and not Path("/proc", owner).exists():
            shutil.rmtree(left, ignore_errors=True)
    made = tempfile.TemporaryDirectory(
        prefix=f"{PREFIX}{os.getpid()}-", dir=FOLDER, ignore_cleanup_errors=True
    )
    Path(made.name).chmod(0o1777)  # as where it stands for: some tests work as another user
    return made


def _is_usable() -> bool:
    with suppress(AttributeError, OSError, KeyError, ValueError):
        found = os.statvfs(FOLDER)
        told = dict(line.split(":") for line in MEMORY.read_text().splitlines())
        memory = int(told["MemAvailable"].split()[0]) * 1024
        free = min(found.f_bavail * found.f_frsize, memory)
        runs_programs = not found.f_flag & os.ST_NOEXEC
        return runs_programs and free >= FREE_BYTES and os.access(FOLDER, os.W_OK)
    return False
