"""Whether the folder for captures can take one: room, and leave to write."""

from __future__ import annotations

import os
import shutil
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from live.capture.capture_file import no_shared_maps

ROOM_BYTES: Final = 1_000_000_000
"""Room asked for before a start.  A capture takes some 3 MB an hour; the rest is for what else
fills a disk meanwhile, since a full one ends the capture."""
LOOK_EVERY_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class FolderFacts:
    """``free_bytes``: room on its disk.  ``problem``: why nothing can be written, else empty."""

    free_bytes: int
    problem: str = ""


def look_at(folder: Path) -> FolderFacts:
    """Try the folder, or the nearest one above it that exists, by writing a small file."""
    place = folder.absolute()
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        return FolderFacts(0, f"{place} is not a folder")
    try:
        free = shutil.disk_usage(place).free
        with tempfile.NamedTemporaryFile(dir=place, prefix=".sidebeat-") as file:
            file.write(b"x" * 4096)
            file.flush()
            os.fsync(file.fileno())
        problem = no_shared_maps(place)
    except OSError as error:
        return FolderFacts(0, f"nothing can be written to {place}: {error.strerror}")
    return FolderFacts(free, problem)


class FolderWatch:
    """Looks again and again, in a thread of its own: a sleeping or distant disk takes seconds."""

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self.facts: FolderFacts | None = None
        """The newest answer, ``None`` before the first."""
        self._looking = False
        self._looked_s = -LOOK_EVERY_S

    def poll(self) -> None:
        """Start another look if it is time for one; never waits."""
        if self.folder is None or self._looking:
            return
        if time.monotonic() - self._looked_s < LOOK_EVERY_S:
            return
        self._looking = True
        threading.Thread(target=self._look, args=(self.folder,), daemon=True).start()

    def _look(self, folder: Path) -> None:
        try:
            self.facts = look_at(folder)
        finally:
            self._looked_s = time.monotonic()
            self._looking = False
