"""Reading a capture: its plan, its events as they came, and the notes made since.

Nothing is repaired here.  A capture that was not closed is shown as it stands, with ``clean``
false; rows that do not match their checksum, or that are missing, raise
:class:`~replay.errors.DamagedCapture` instead of being skipped.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from replay.capture.files import READ_ERRORS, cannot, no_log_of_a_recording, open_for_reading
from replay.capture.gate import check_length, guard_events, renew
from replay.capture.note_table import append_note, read_notes
from replay.capture.notes import EffectiveNotes, Note, check_note, effective
from replay.capture.raw_file import held_raw
from replay.capture.schema import ENDING_TYPES as _ENDING
from replay.capture.schema import SESSION_TYPES as _SESSION
from replay.capture.schema import FalseRows, NotWhole, event_of, has_types, text_crc, whole_row
from replay.capture.wholeness import Wholeness, wholeness_of
from replay.errors import DamagedCapture, PlanError
from replay.event import Event
from replay.plan import Plan, parse_plan
from replay.text import printable

_FETCH_ROWS: Final = 1024
_INTEGERS: Final = (int, int)
_SALVAGE: Final = "; salvage what is whole into a new capture"


class Capture:
    """An opened capture; used by one thread at a time.

    ``plan``: with the labels that count now; ``recorded_plan``: as it was recorded.
    ``started_utc_ns``: UTC of ``t_ns`` 0.  ``clean``: whether it was closed; without that it is
    still being recorded or was cut off, and ``end_t_ns`` and ``end_reason`` are ``None``.
    ``wholeness``: what is known to be missing.  ``event_count``: events in it.  ``uuid``: the same
    in every copy of one recording.

    A capture that was not closed is read from a copy made when it was opened: events that a
    running recording adds later are not seen.
    """

    def __init__(self, path: Path) -> None:
        """Open ``path``.  Raises as :meth:`open`."""
        self.path = path
        self._connection, self._folder, log = open_for_reading(path)
        try:
            self._size = path.stat().st_size
            self._read_session()
            with held_raw(log) as raw:
                self.wholeness: Wholeness = wholeness_of(
                    closed=self.clean, last=self.event_count, log=raw, notes=self._notes
                )
        except FalseRows:
            self.close()
            raise no_log_of_a_recording(
                path, "is full of what looks like events and is none"
            ) from None
        except (OSError, *READ_ERRORS) as error:
            self.close()
            raise cannot("read", path, error) from None
        except BaseException:
            self.close()
            raise

    @classmethod
    def open(cls, path: Path) -> Self:
        """Open a capture for reading; it is also a context manager.

        Raises :class:`NotACapture`, :class:`NewerCapture`, :class:`DamagedCapture`, or
        :class:`CaptureError` if the file is missing or cannot be read.
        """
        return cls(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()
        if self._folder is not None:
            self._folder.cleanup()

    @property
    def is_dated(self) -> bool:
        """Whether anybody knows when it was recorded; else ``started_utc_ns`` is 0."""
        return self.started_utc_ns != 0

    def _read_session(self) -> None:
        row = self._connection.execute(
            "SELECT uuid, started_utc_ns, software, invented, plan, crc32 FROM session"
        ).fetchone()
        if row is None or not has_types(row, _SESSION) or text_crc(*row[:5]) != row[5]:
            raise DamagedCapture(f"{self.path}: the session's own row is damaged{_SALVAGE}")
        self.uuid: str = row[0]
        self.started_utc_ns: int = row[1]
        self.software: str = printable(row[2])
        self.invented = bool(row[3])
        try:
            self.recorded_plan: Plan = parse_plan(row[4])
        except PlanError as error:
            raise DamagedCapture(f"{self.path}: the plan in it cannot be read: {error}") from None
        ending = self._connection.execute(
            "SELECT t_ns, utc_ns, reason, events, crc32 FROM ending"
        ).fetchone()
        if ending is not None and not (
            has_types(ending, _ENDING) and text_crc(*ending[:4]) == ending[4]
        ):
            raise DamagedCapture(f"{self.path}: the ending's row is damaged{_SALVAGE}")
        self.clean = ending is not None
        self.end_t_ns: int | None = ending[0] if ending else None
        self.end_utc_ns: int | None = ending[1] if ending else None
        self.end_reason: str | None = printable(ending[2]) if ending else None
        last = self._connection.execute(
            "SELECT seq, t_ns FROM event ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        if last is not None and not has_types(last, _INTEGERS):
            raise DamagedCapture(f"{self.path}: its last event is damaged{_SALVAGE}")
        found: int = last[0] if last else 0
        self._last_t_ns: int = last[1] if last else 0
        self.event_count: int = ending[3] if ending else found
        if found != self.event_count:
            raise DamagedCapture(
                f"{self.path}: the capture ended with {self.event_count} events, but its last "
                f"one is number {found}{_SALVAGE}"
            )
        check_length(self.path, self._last_t_ns)
        check_length(self.path, self.duration_ns)
        self._set_notes(read_notes(self._connection, self.path, self.recorded_plan))
        guard_events(self._connection)

    @property
    def duration_ns(self) -> int:
        """From the start to the ending, or to the last event if it was not closed."""
        return self._last_t_ns if self.end_t_ns is None else self.end_t_ns

    def events(self, start_ns: int = 0, end_ns: int | None = None) -> Iterator[Event]:
        """Events with ``start_ns <= t_ns < end_ns`` in order of arrival; all by default.

        Each row is checked.  Raises :class:`DamagedCapture` at the first one that is altered or
        missing, and :class:`CaptureError` if the file cannot be read on.
        """
        renew(self._connection, self._size)
        expected = self._first_at(start_ns) if start_ns > 0 else 1
        stop = self.event_count + 1 if end_ns is None else self._first_at(end_ns)
        last_ns = 0
        try:
            # Page by page: a query left open while the caller pauses would keep notes out.
            while expected < stop:
                rows = self._connection.execute(
                    "SELECT * FROM event WHERE seq >= ? AND seq < ? ORDER BY seq",
                    (expected, min(expected + _FETCH_ROWS, stop)),
                ).fetchmany(_FETCH_ROWS)
                if not rows:
                    break
                for columns in rows:
                    try:
                        event = event_of(columns)
                    except NotWhole:
                        raise self._damage(columns[0], expected) from None
                    t_ns = event[0]
                    if columns[0] != expected or t_ns < last_ns:
                        raise self._damage(columns[0], expected)
                    expected += 1
                    last_ns = t_ns
                    yield event
        except READ_ERRORS as error:
            raise cannot("read", self.path, error) from None
        if expected < stop:
            raise self._damage(stop, expected)

    def _damage(self, seq: int, expected: int) -> DamagedCapture:
        problem = (
            f"event {expected} of {self.event_count} does not match its checksum"
            if seq == expected
            else f"event {expected} of {self.event_count} is missing"
        )
        return DamagedCapture(f"{self.path}: {problem}{_SALVAGE}")

    def _first_at(self, t_ns: int) -> int:
        """Number of the first event not before ``t_ns``, by bisection: times never decrease."""
        low, high = 1, self.event_count + 1
        try:
            while low < high:
                middle = (low + high) // 2
                columns = self._connection.execute(
                    "SELECT * FROM event WHERE seq = ?", (middle,)
                ).fetchone()
                row = whole_row(columns) if columns else None
                if row is None:
                    raise self._damage(middle if columns else middle + 1, middle)
                low, high = (middle + 1, high) if row.t_ns < t_ns else (low, middle)
        except READ_ERRORS as error:
            raise cannot("read", self.path, error) from None
        return low

    def notes(self) -> tuple[Note, ...]:
        """All notes in order of making, also undone ones; see ``effective_notes``.

        Notes that another program adds are seen with the next one added here.
        """
        return self._notes

    def add_note(self, kind: str, *, made_utc_ns: int | None = None, **body: Any) -> Note:  # noqa: ANN401 - JSON values
        """Append a note (kinds and fields: :mod:`replay.capture.notes`) and return it.

        ``made_utc_ns``: now if not given.  ``plan`` and ``effective_notes`` follow at once.
        Raises :class:`NoteError` or :class:`PlanError` if the note makes no sense, and
        :class:`CaptureError` if the file cannot be written (read-only, still being recorded).
        """
        check_note(kind, body, self.recorded_plan, self._notes)
        made = time.time_ns() if made_utc_ns is None else made_utc_ns
        self._set_notes(
            append_note(
                self.path,
                self.recorded_plan,
                events=self.event_count,
                kind=kind,
                made_utc_ns=made,
                body=body,
            )
        )
        return self._notes[-1]

    def _set_notes(self, notes: tuple[Note, ...]) -> None:
        self._notes = notes
        self.effective_notes: EffectiveNotes = effective(notes)
        self.plan: Plan = self.effective_notes.relabelled(self.recorded_plan)
