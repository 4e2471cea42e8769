"""How whole a capture is: asked once, when it is opened, and told by whoever shows it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from replay.capture.notes import GOES_ON_IN, SALVAGED, Note
from replay.capture.raw_file import Raw
from replay.capture.row_scan import count_beyond
from replay.capture.writer import COMMIT_EVERY_EVENTS
from replay.text import grouped

UNCLOSED: Final = (
    "The capture was not closed: it is still being recorded, or its recording was cut off and up "
    "to its last half-second is missing."
)


@dataclass(frozen=True, slots=True)
class Wholeness:
    """What is known to be missing.

    ``closed``: whether it has its ending.  ``hidden``: events that only its log holds, behind a
    place where that is damaged, and that only a salvage reaches.  ``salvaged_lost``: events that
    were lost when it was salvaged from a damaged one, ``None`` if it was not.  ``goes_on_in``: name
    of the file that holds the recording whole, because this one was taken away from it.
    """

    closed: bool = True
    hidden: int = 0
    salvaged_lost: int | None = None
    goes_on_in: str = ""

    @property
    def is_whole(self) -> bool:
        """Whether nothing more than the last half second can be missing."""
        return not self.hidden and not self.salvaged_lost

    @property
    def words(self) -> str:
        """A few words beside a name; empty if all is well."""
        if self.hidden:
            return f"{grouped(self.hidden)} events hidden: salvage it"
        if self.salvaged_lost is not None:
            return f"salvaged, {grouped(self.salvaged_lost)} events lost"
        if self.goes_on_in:
            return f"goes on in {self.goes_on_in}"
        return "" if self.closed else "not closed"

    def sentences(self) -> tuple[str, ...]:
        """What is to be known before its numbers are believed."""
        told = []
        if self.hidden:
            told.append(
                f"{grouped(self.hidden)} more events are in the log beside the capture, behind a "
                "damaged place: 'sidebeat check FILE --salvage NEW' saves them, and what is shown "
                "here lacks them."
            )
        if self.salvaged_lost is not None:
            lost = self.salvaged_lost
            told.append(
                "The capture was salvaged from a damaged one, which had lost at least "
                f"{grouped(lost)} event{'' if lost == 1 else 's'}."
            )
        elif self.goes_on_in:
            told.append(
                f"The recording was taken on in {self.goes_on_in}, which holds all of it from the "
                "first event on: use that file, and not this one."
            )
        elif not self.closed:
            told.append(UNCLOSED)
        return tuple(told)


def wholeness_of(*, closed: bool, last: int, log: Raw, notes: Iterable[Note]) -> Wholeness:
    """How whole it is.  ``last``: number of its last event; ``log``: bytes of the log beside it.

    Raises :class:`~replay.capture.schema.FalseRows`.
    """
    beyond = count_beyond(log, last)
    notes = list(notes)
    lost = [note.body["lost"] for note in notes if note.kind == SALVAGED]
    after = [note.words("file") for note in notes if note.kind == GOES_ON_IN]
    # One commit that a kill cut off is no fault; the events of more than one are.
    return Wholeness(
        closed=closed,
        hidden=beyond if beyond > COMMIT_EVERY_EVENTS else 0,
        salvaged_lost=sum(lost) if lost else None,
        goes_on_in=after[-1] if after else "",
    )
