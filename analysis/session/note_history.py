"""The tester's notes on a capture, with undo and redo that are notes themselves."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from replay.capture import Capture, EffectiveNotes, Note, standing
from replay.capture.notes import MADE_BY_PROGRAM
from replay.errors import SidebeatError

_WORDS: Final = {
    "marker": "marker",
    "exclusion": "exclusion",
    "suggestion-accepted": "accepting a suggestion",
    "suggestion-refused": "refusing a suggestion",
    "relabel": "new label",
    "effort": "effort",
}


class Notebook:
    """Adds notes to an open capture, and takes them back in order.

    Undo reaches back to the first note of the file; redo as far as was undone since it was
    opened, until the next note.  ``changed``: called after each note.
    """

    def __init__(self, capture: Capture, changed: Callable[[], None] = lambda: None) -> None:
        self._capture = capture
        self._undone: list[int] = []
        self.changed = changed

    @property
    def effective(self) -> EffectiveNotes:
        """What counts now."""
        return self._capture.effective_notes

    @property
    def standing(self) -> list[Note]:
        """The notes that count and can be undone, in order of making."""
        return [n for n in standing(self._capture.notes()) if n.kind not in MADE_BY_PROGRAM]

    @property
    def undoable(self) -> str:
        """What undo would take back, in words; empty if there is nothing."""
        notes = self.standing
        return _WORDS[notes[-1].kind] if notes else ""

    @property
    def redoable(self) -> bool:
        """Whether something undone can be brought back."""
        return bool(self._undone)

    def add(self, kind: str, **body: Any) -> Note:  # noqa: ANN401 - JSON values
        """Append a note.  Raises as ``Capture.add_note``; then nothing has changed."""
        note = self._capture.add_note(kind, **body)
        self._undone.clear()
        self.changed()
        return note

    def undo(self) -> Note | None:
        """Take the latest standing note back; returns it, ``None`` if there is none."""
        notes = self.standing
        return self.take_back(notes[-1].number) if notes else None

    def take_back(self, number: int) -> Note:
        """Take one note back, wherever it stands in the order; returns it."""
        undo = self._capture.add_note("undo", note=number)
        self._undone.append(undo.number)
        self.changed()
        return next(note for note in self._capture.notes() if note.number == number)

    def redo(self) -> Note | None:
        """Bring back what was undone last; returns it, ``None`` if there is nothing."""
        if not self._undone:
            return None
        undo = self._undone[-1]
        number = next(n.body["note"] for n in self._capture.notes() if n.number == undo)
        self._capture.add_note("undo", note=undo)
        self._undone.pop()
        self.changed()
        return next(note for note in self._capture.notes() if note.number == number)


def why_read_only(path: Path) -> str:
    """One sentence if it is known beforehand that no note can be added, else empty."""
    if not os.access(path, os.W_OK):
        return f"No notes can be added: {path.name} is read-only."
    if not os.access(path.parent, os.W_OK):
        return f"No notes can be added: the folder of {path.name} is read-only."
    return ""


def refusal(error: SidebeatError, path: Path) -> str:
    """The sentence for a note that was not added."""
    return f"Not noted: {str(error).removeprefix(f'{path}: ')}."
