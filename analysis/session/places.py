"""Places of a recording that a player can jump to: the board as it stood there.

To stand at an instant, a board has to see every event before it.  In a long recording that takes
long, so boards at some places are kept in the user's cache, and a jump begins from the nearest
one.  What is kept says which capture it was made of and by which version of the computation;
what does not fit or is not whole is not used, and made again.
"""

from __future__ import annotations

import io
import json
import os
import pickle
import sys
import uuid
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from analysis.board import Board
from analysis.board.growing import Growing
from analysis.session.cache import cache_folder, is_being_written, store_whole
from analysis.session.place import Place
from analysis.session.provenance import computation_version, file_sha256
from replay.capture import Capture
from replay.errors import SidebeatError

MOST_PLACES: Final = 48
"""At most so many in a recording: in eight hours of six sensors at 4 Hz they are some 14,000
events apart (``make bench-seek``)."""

LEAST_SPACING: Final = 5_000
"""Events between two places at least: closer ones would save nothing that could be felt."""

MOST_BYTES: Final = 512 * 2**20
"""Room of all places together; those of the recordings longest not made anew go first."""

_FORMAT: Final = "sidebeat places 1"


class KeptPlaces:
    """The places kept of one open capture, empty where there are none.

    ``places``: in order of time; :meth:`board` gives the board as it stood at one of them.
    """

    def __init__(self, capture: Capture) -> None:
        self.places: tuple[Place, ...] = ()
        self._archive: zipfile.ZipFile | None = None
        self._path: Path | None = None
        try:
            name = str(uuid.UUID(capture.uuid))  # it comes from a file, and becomes a file's name
            if capture.clean and not is_being_written(capture.path):
                self._head = f"{computation_version()} {file_sha256(capture.path)}"
                self._path = _folder() / f"{name}.zip"
        except (ValueError, OSError, RuntimeError, SidebeatError):
            return

    @property
    def can_be_made(self) -> bool:
        """Whether this capture is one to keep anything of: closed, and written by nobody."""
        return self._path is not None

    def load(self) -> bool:
        """Look for what is kept; whether there is any that fits."""
        self.close()
        if self._path is None:
            return False
        archive = None
        try:
            _refuse_what_others_could_write(self._path)
            archive = zipfile.ZipFile(self._path)
            index = json.loads(archive.read("index"))
            if index["format"] != _FORMAT or index["of"] != self._head:
                raise ValueError("of another capture, or of another version")
            self.places = tuple(Place(*map(int, place)) for place in index["places"])
        except Exception:  # what was not written here may be anything
            if archive is not None:
                archive.close()
            return False
        self._archive = archive
        return True

    def board(self, number: int) -> Board | None:
        """The board of ``places[number]``; ``None`` if it cannot be had after all."""
        if self._archive is None:
            return None
        try:
            board = _Thaw(self._archive, number).load()
        except Exception:  # as above
            return None
        return board if isinstance(board, Board) else None

    def make(self, capture: Capture) -> None:
        """Play the capture once from the start and keep the places.

        Raises as reading its events does; where nothing can be kept, nothing is.
        """
        if self._path is None:
            return
        kept = io.BytesIO()
        board, place, places = Board(capture.plan), Place(), list[Place]()
        series: list[Growing[np.generic]] = []
        spacing = max(LEAST_SPACING, capture.event_count // MOST_PLACES)
        with zipfile.ZipFile(kept, "w") as archive:
            for event in capture.events():
                board.feed(event)
                place = place.after(event)
                if place.taken % spacing == 0:
                    frozen = io.BytesIO()
                    _Freeze(frozen, series).dump(board)
                    archive.writestr(
                        f"board{len(places)}", frozen.getvalue(), zipfile.ZIP_DEFLATED, 1
                    )
                    places.append(place)
            for number, one in enumerate(series):
                archive.writestr(f"series{number}", one.view.tobytes())
            index = {"format": _FORMAT, "of": self._head, "places": places}
            archive.writestr("index", json.dumps(index))
        store_whole(self._path, kept.getvalue())
        _make_room(self._path)

    def close(self) -> None:
        """Let go of the file."""
        if self._archive is not None:
            self._archive.close()
        self._archive, self.places = None, ()


class _Freeze(pickle.Pickler):
    """A board without its series: these only grow, so that all places share the last of each."""

    def __init__(self, file: io.BytesIO, series: list[Growing[np.generic]]) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        self._series = series

    def persistent_id(self, thing: object) -> tuple[int, int, str] | None:
        if not isinstance(thing, Growing):
            return None
        known = [number for number, one in enumerate(self._series) if one is thing]
        if not known:
            known = [len(self._series)]
            self._series.append(thing)
        return known[0], len(thing), thing.view.dtype.str


class _Thaw(pickle.Unpickler):
    """Reads what :class:`_Freeze` wrote.

    Unpickling runs what the file says, as the program's own files do: so it is read only where
    this user alone can have written it.
    """

    def __init__(self, archive: zipfile.ZipFile, number: int) -> None:
        super().__init__(io.BytesIO(archive.read(f"board{number}")))
        self._archive = archive

    def persistent_load(self, name: tuple[int, int, str]) -> Growing[np.generic]:
        number, size, kind = name
        data = np.frombuffer(self._archive.read(f"series{number}"), np.dtype(kind), size)
        return Growing.of(data)


def keep_places(path: Path) -> None:
    """Make the places of a capture unless they are kept.  Raises as opening and reading do."""
    with Capture.open(path) as capture:
        kept = KeptPlaces(capture)
        if not kept.load():
            kept.make(capture)
        kept.close()


def _refuse_what_others_could_write(path: Path) -> None:
    """Raises ``PermissionError`` for a file, or a folder, of somebody else or open to others."""
    if not hasattr(os, "getuid"):
        return  # the folder of the user's profile is closed to others
    for one in (path, path.parent):
        stat = one.lstat()
        if stat.st_uid != os.getuid() or stat.st_mode & 0o022:
            raise PermissionError(f"{one}: others could have written this")


def _folder() -> Path:
    return cache_folder().with_name("places")


def _make_room(newest: Path) -> None:
    """Let the oldest go where all are too much; never the one just made."""
    try:
        others = [(path.stat(), path) for path in newest.parent.glob("*.zip") if path != newest]
        others.sort(key=lambda one: one[0].st_mtime)
        room = MOST_BYTES - newest.stat().st_size - sum(stat.st_size for stat, _ in others)
        for stat, path in others:
            if room >= 0:
                break
            path.unlink(missing_ok=True)
            room += stat.st_size
    except OSError:
        return


def main(arguments: Sequence[str]) -> int:
    """Of a process of its own: make the places of one capture, out of everybody's way."""
    if hasattr(os, "nice"):
        os.nice(10)
    try:
        keep_places(Path(arguments[0]))
    except SidebeatError:
        return 1  # whoever plays it is told by the player
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
