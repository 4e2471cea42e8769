"""Which stretches are taken out of the statistics: the one rule for analysis, report and window.

The board suggests to leave out where the reference was missing or doubtful.  A suggestion counts
until the tester refuses it; one that the tester accepts is kept in the capture as it stood then.
What the tester excludes by hand counts beside them.  Nothing is ever deleted.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from analysis.board import Board, suggest_exclusions
from analysis.session.load import SessionData, session_data
from analysis.statistics.stretch import Stretch
from replay.event import NS_PER_S, Event

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from analysis.session.sensors import SessionResult
    from replay.capture import Capture, EffectiveNotes


class Answer(StrEnum):
    """What the tester said to a suggestion."""

    OPEN = "suggested"
    ACCEPTED = "accepted"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A stretch that might be left out.  ``key``: names it in the notes, the same every time."""

    key: str
    stretch: Stretch

    def answer(self, notes: EffectiveNotes) -> Answer:
        """The answer that counts now."""
        if self.key in notes.refused:
            return Answer.REFUSED
        return Answer.ACCEPTED if self.key in notes.accepted else Answer.OPEN

    def note(self) -> dict[str, int | str]:
        """The fields of a note that accepts or refuses it."""
        return {
            "suggestion": self.key,
            "from_ns": self.stretch.start_s * NS_PER_S,
            "to_ns": self.stretch.end_s * NS_PER_S,
            "sensor": self.stretch.sensor,
            "reason": self.stretch.reason,
        }


def suggestions(board: Board) -> tuple[Suggestion, ...]:
    """What a finished board suggests to leave out, in order of start.

    The key holds the fault and when it began; not its end, which a longer look at the same
    recording may move.
    """
    stretches = suggest_exclusions(board.warnings, board.plan, board.second + 1)
    return tuple(Suggestion(f"{one.reason} from {one.start_s} s", one) for one in stretches)


def counting(suggested: Iterable[Suggestion], notes: EffectiveNotes) -> tuple[Stretch, ...]:
    """The suggested stretches that count beside the exclusions of the notes.

    Those accepted are exclusions of the notes already; those refused do not count.
    """
    return tuple(one.stretch for one in suggested if one.answer(notes) is Answer.OPEN)


def marked_efforts(notes: EffectiveNotes) -> tuple[Stretch, ...]:
    """The efforts that the tester marked, as stretches of grid seconds."""
    return tuple(Stretch.of_ns(one.from_ns, one.to_ns, one.text) for one in notes.efforts)


def session_of(
    capture: Capture, also: Callable[[Event], object] | None = None
) -> tuple[SessionData, Board]:
    """An open capture as arrays and as its finished board, in one pass over its events.

    ``also``: called with each event.  Raises what reading its events raises
    (``replay.errors.DamagedCapture``).
    """
    board = Board(capture.plan)
    data = session_data(
        capture.plan,
        _through(board, capture.events(), also),
        capture.duration_ns,
        capture.effective_notes,
    )
    board.finish(capture.duration_ns)
    return data, board


def analysed(
    data: SessionData, suggested: Sequence[Suggestion], notes: EffectiveNotes
) -> SessionResult:
    """The agreement of the whole session, and without what is excluded.

    ``data``: with the notes' own exclusions and efforts.
    """
    # On the thread that counts, not when the window opens: it loads all of the statistics.
    from analysis.session.sensors import analyse_session  # noqa: PLC0415 - see above

    return analyse_session(data, counting(suggested, notes))


def _through(
    board: Board, events: Iterable[Event], also: Callable[[Event], object] | None
) -> Iterator[Event]:
    for event in events:
        board.feed(event)
        if also is not None:
            also(event)
        yield event
