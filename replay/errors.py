"""What can go wrong, as a small tree.

SidebeatError
├── PlanError        the plan asks for something impossible (field, rule, value)
├── NoteError        a note about a session that makes no sense
├── ActivityFileError    a file from elsewhere cannot be imported
│   └── ColumnsUnclear   its columns must be named
├── PayloadError     a sensor sent bytes that the standard does not allow (names the byte)
└── CaptureError     a capture file cannot be read or written
    ├── DiskError        the disk is full, or reports an error
    ├── NotACapture      another kind of file
    ├── NewerCapture     written by a newer Sidebeat
    └── DamagedCapture   rows are missing or do not match their checksum

Every message is one sentence for the person at the keyboard; the command line prints it and
exits with a status other than 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from replay.text import printable

_LONGEST: Final = 1500
"""Letters of a sentence: a table may have thousands of columns to be named."""


class SidebeatError(Exception):
    """Base of all errors that Sidebeat raises on purpose.

    What the sentence quotes of a file, a path, a bus or a broker is made printable with it, and of
    a sentence that no screen has room for begin and end are kept.
    """

    def __init__(self, message: str = "") -> None:
        if len(message) > _LONGEST:
            message = f"{message[: _LONGEST * 2 // 3]} … {message[-_LONGEST // 3 :]}"
        super().__init__(printable(message))


class PlanError(SidebeatError):
    """A plan that cannot be carried out.  ``field`` names where, ``rule`` what must hold."""

    def __init__(self, field: str, rule: str, got: object = None) -> None:
        self.field = field
        self.rule = rule
        self.got = got
        super().__init__(f"plan: {field}: {rule}" + ("" if got is None else f" (got {got!r})"))


class NoteError(SidebeatError):
    """A note about a session that makes no sense; the message names what must hold."""


class ActivityFileError(SidebeatError):
    """An activity file that cannot be imported; the message names the file."""


class ColumnsUnclear(ActivityFileError):
    """A table in which a column must be named first.

    ``wanted``: which one (``time``, ``bpm`` or ``time format``).  ``columns``: all names.
    ``samples``: some of the first rows, as text.
    """

    def __init__(
        self, message: str, wanted: str, columns: Sequence[str], samples: Sequence[Sequence[str]]
    ) -> None:
        self.wanted = wanted
        self.columns = tuple(columns)
        self.samples = tuple(tuple(row) for row in samples)
        super().__init__(message)


class PayloadError(SidebeatError, ValueError):
    """A malformed payload.  ``channel`` and ``byte`` (0-based index) say where."""

    def __init__(self, channel: str, byte: int, problem: str, payload: bytes) -> None:
        self.channel = channel
        self.byte = byte
        self.problem = problem
        self.payload = payload
        super().__init__(f"{channel}: byte {byte}: {problem} (payload {payload.hex() or 'empty'})")


class CaptureError(SidebeatError):
    """A capture file that cannot be read or written."""


class DiskError(CaptureError):
    """The disk is full or reports an error: no file beside the first one would fare better."""


class NotACapture(CaptureError):
    """The file is not a capture of Sidebeat."""


class NewerCapture(CaptureError):
    """The file was written by a newer version."""


class DamagedCapture(CaptureError):
    """The file is a capture, but rows are lost or altered."""
