"""Which stretches are taken out of the statistics: the one rule for analysis, report and window.

The board suggests to leave out where the reference was missing or doubtful.  A suggestion counts
until the tester refuses it; one that the tester accepts is kept in the capture as it stood then.
What the tester excludes by hand counts beside them.  Nothing is ever deleted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from analysis.board import Board, suggest_exclusions
from analysis.statistics.stretch import Stretch
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from replay.capture import EffectiveNotes


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
