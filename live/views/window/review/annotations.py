"""Where notes are made: the stretch in hand, the questions, undo and redo."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import QObject, Signal

from analysis.session.exclusions import Answer, Suggestion
from analysis.session.note_history import Notebook, refusal, why_read_only
from live.protocol.file_feed import FileFeed
from live.views.window.live.reviewing import ReviewHost, ReviewParts
from live.views.window.parts.keys import Action
from live.views.window.parts.overlay import DrawnStretch, ExclusionState
from live.views.window.review.note_dialogs import LabelForm, NoteForm, StretchForm
from live.views.window.review.notes_list import ACCEPT, REFUSE, Entry, NotesPage, entries
from replay.errors import SidebeatError


class Annotations(QObject):
    """``changed``: a note was made or taken back.  ``why_not``: one sentence if none can be."""

    changed = Signal()

    def __init__(self, host: ReviewHost, feed: FileFeed, parts: ReviewParts) -> None:
        super().__init__(parts.parent)
        self._host = host
        self._model = parts.model
        self._parent = parts.parent
        self.feed = feed
        self.seen = parts.seen
        self.notebook = Notebook(feed.capture, self._noted)
        self.why_not = why_read_only(feed.capture.path)
        self.suggested: tuple[Suggestion, ...] = ()
        self.page = NotesPage(host.do)
        self.page.asked.connect(self._answer)
        self.dialog: NoteForm | None = None
        self.show_notes()

    def take_suggestions(self, suggested: tuple[Suggestion, ...]) -> None:
        """What might be left out, once the whole capture has been read."""
        self.suggested = suggested
        self.show_notes()

    def do(self, action: Action) -> bool:
        """Carry out an action that is about notes; false for any other."""
        match action:
            case Action.STRETCH_FROM:
                self._hold(self._cursor_s, None)
            case Action.STRETCH_TO:
                self._hold(None, self._cursor_s)
            case Action.LET_GO:
                self.seen.selection = None
            case Action.EXCLUDE:
                self._ask_stretch(is_effort=False)
            case Action.MARK_EFFORT:
                self._ask_stretch(is_effort=True)
            case Action.RELABEL:
                self._ask_label()
            case Action.UNDO:
                self._back_or_forth(redo=False)
            case Action.REDO:
                self._back_or_forth(redo=True)
            case Action.MARK_NOW:
                self.marker("")
            case _:
                return False
        return True

    @property
    def _cursor_s(self) -> float:
        return self.feed.position_ns / 1e9

    def stretch(self, start_s: float, end_s: float, held: bool) -> None:
        """A stretch is being dragged out, or has been."""
        low, high = sorted((max(start_s, 0.0), min(max(end_s, 0.0), self.feed.duration_ns / 1e9)))
        self.seen.selection = (low, high) if high - low >= 0.5 else None
        self._host.redraw()
        if not held and self.seen.selection is not None:
            self._host.say("stretch in hand: X excludes it, Shift+X marks an effort")

    def _hold(self, start_s: float | None, end_s: float | None) -> None:
        low, high = self.seen.selection or (self._cursor_s, self._cursor_s)
        low = low if start_s is None else start_s
        high = high if end_s is None else end_s
        if start_s is not None:
            high = max(low, high)
        self.seen.selection = (min(low, high), max(low, high))

    def _refused(self) -> bool:
        if self.why_not:
            self._host.say(self.why_not)
        return bool(self.why_not)

    def _open(self, dialog: NoteForm) -> None:
        self.dialog = dialog
        dialog.open()

    def _ask_stretch(self, *, is_effort: bool) -> None:
        if self._refused():
            return
        selection = self.seen.selection
        if selection is None or selection[1] <= selection[0]:
            self._host.say("first take a stretch: drag with Shift, or I and O")
            return
        dialog = StretchForm(
            self._host.plan,
            selection,
            self.feed.duration_ns / 1e9,
            self._parent,
            is_effort=is_effort,
        )
        kind = "effort" if is_effort else "exclusion"
        dialog.given.connect(lambda body: self._add_stretch(kind, body))
        self._open(dialog)

    def _add_stretch(self, kind: str, body: Mapping[str, object]) -> None:
        if self._add(kind, body):
            self.seen.selection = None

    def _ask_label(self) -> None:
        if self._refused():
            return
        dialog = LabelForm(self._host.plan, self._host.selected, self._parent)
        dialog.given.connect(lambda body: self._add("relabel", body))
        self._open(dialog)

    def marker(self, text: str, t_ns: int | None = None) -> None:
        """Add a marker at ``t_ns`` or at the cursor; without text it gets a number."""
        if self._refused():
            return
        count = len(self._model.board.markers) + len(self.notebook.effective.markers)
        body = {
            "t_ns": self.feed.position_ns if t_ns is None else t_ns,
            "text": text or f"marker {count + 1}",
        }
        self._add("marker", body)

    def _answer(self, name: str, entry: Entry) -> None:
        if self._refused():
            return
        if entry.suggestion is not None and name in (ACCEPT, REFUSE):
            wanted = Answer.ACCEPTED if name == ACCEPT else Answer.REFUSED
            if entry.suggestion.answer(self.notebook.effective) is not wanted:
                kind = "suggestion-accepted" if name == ACCEPT else "suggestion-refused"
                self._add(kind, entry.suggestion.note())
        elif entry.note is not None:
            number = entry.note.number
            self._try(lambda: self.notebook.take_back(number), "taken back")

    def _add(self, kind: str, body: Mapping[str, object]) -> bool:
        return self._try(lambda: self.notebook.add(kind, **body), "noted")

    def _back_or_forth(self, *, redo: bool) -> None:
        if self._refused():
            return
        if redo and not self.notebook.redoable:
            self._host.say("nothing to redo")
        elif redo:
            self._try(self.notebook.redo, "redone")
        elif not self.notebook.undoable:
            self._host.say("nothing to undo")
        else:
            what = self.notebook.undoable
            self._try(self.notebook.undo, f"undone: {what}")

    def _try(self, work: Any, said: str) -> bool:  # noqa: ANN401 - any call without arguments
        try:
            work()
        except SidebeatError as error:
            self._host.say(refusal(error, self.feed.capture.path))
            return False
        self._host.say(said)
        return True

    def _noted(self) -> None:
        self.show_notes()
        self.changed.emit()

    def show_notes(self) -> None:
        """Bring the list and what is laid over the panels up to date."""
        effective, plan = self.notebook.effective, self.feed.plan
        suggested = self.suggested
        self.page.show_entries(
            entries(plan, suggested, self.notebook.standing, effective),
            undo=bool(self.notebook.undoable),
            redo=self.notebook.redoable,
            why_not=self.why_not,
        )
        stretches = [
            DrawnStretch(one.from_ns / 1e9, one.to_ns / 1e9, one.reason, ExclusionState.EXCLUDED)
            for one in effective.exclusions
        ]
        stretches += [
            DrawnStretch(
                float(one.stretch.start_s),
                float(one.stretch.end_s),
                one.stretch.reason,
                ExclusionState.SUGGESTED,
            )
            for one in suggested
            if one.answer(effective) is Answer.OPEN
        ]
        self.seen.stretches = tuple(stretches)
