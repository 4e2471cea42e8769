"""The loudest thing that a view can say: the recording has ended unasked, or its file is in danger.

Every view shows an :class:`Alarm` over its full width until it is over, and calls the tester by a
sound of its own until it is acknowledged.  An end that was asked for is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.report.words import clock, count
from replay.errors import SidebeatError

ENDED: Final = "RECORDING ENDED"
UNSAFE: Final = "FILE IN DANGER"
GOES_ON: Final = "RECORDING IN A NEW FILE"
CUT_OFF: Final = "VIEW CUT OFF"
NO_WORD: Final = "NO WORD FROM THE CAPTURE"

BEGIN_ANEW: Final = "Begin a new recording: nothing is added to this one any more."
KEEP_NEW_FILE: Final = "Leave the new file where it is until the recording has ended."
ATTACH_AGAIN: Final = "Attach a view again with 'sidebeat live --attach'."

SILENCE_S: Final = 3.0
"""A capture sends four ticks a second; so long without a word, and it hangs or was put aside."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """``headline``: two to five words; ``sentence``: what happened and what is saved; ``advice``:
    what to do.  One headline is one alarm: it is acknowledged once, however its sentence changes.
    """

    headline: str
    sentence: str
    advice: str


SILENT: Final = Alarm(
    NO_WORD,
    f"The capture has said nothing for more than {SILENCE_S:g} s: what is shown stands still, and "
    "whether anything is saved is not known.",
    "See whether the computer is overloaded or the capture was stopped; if it stays so, begin a "
    "new recording.",
)

Identity = tuple[int, int]
"""Device and number of a file: the same for as long as it is the same file."""


def identity_of(path: Path) -> Identity | None:
    """Which file lies at a path; ``None`` if there is none, or it cannot be seen."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


@dataclass(frozen=True, slots=True)
class Saved:
    """What a look at a file has shown.  ``end_reason``: of a recording that was closed in good
    order, else ``None``.
    """

    sentence: str
    end_reason: str | None = None


def look_at_saved(path: Path, identity: Identity | None, committed: int) -> Saved:
    """Look at a capture file that is written no more, and say what is in it.

    ``identity``: of the file as it was while it was recorded, ``None`` if that is not known;
    ``committed``: events that were said to be on the disk.  It copies and opens the file: not for
    the process that still writes it.
    """
    try:
        found = path.stat()
    except FileNotFoundError:
        return Saved(f"{path} is not there any more: nothing is left under this name.")
    except OSError as error:
        return Saved(f"{path} cannot be looked at ({error.strerror}): what is saved is not known.")
    if identity is not None and (found.st_dev, found.st_ino) != identity:
        return Saved(f"{path} is another file by now: the recording is not in it.")
    from replay.capture import Capture  # noqa: PLC0415 - only at an end that nobody asked for

    try:
        with Capture.open(path) as capture:
            held, last_s = capture.event_count, capture.duration_ns // 1_000_000_000
            reason = capture.end_reason
    except SidebeatError as error:
        return Saved(f"What is saved cannot be told: {error}.")
    words = f"{path} holds {count(held)} events, up to {clock(last_s)}"
    if held < committed:
        words += f"; {count(committed - held)} that had been saved are missing from it"
    return Saved(f"{words}.", reason)
