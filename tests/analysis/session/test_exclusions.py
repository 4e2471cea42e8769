"""Suggested exclusions: what a board suggests, what the tester said to it, what counts."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from analysis.board.snapshot import WarningKind
from analysis.session.exclusions import Answer, Suggestion, counting, suggestions
from analysis.statistics.stretch import Stretch
from replay.event import NS_PER_S

DRY = Suggestion("strap dry from 20 s", Stretch(20, 45, "strap dry", 1))
GONE = Suggestion("reference silent from 60 s", Stretch(60, 90, "reference silent", 1))


def notes(*, accepted: tuple[str, ...] = (), refused: tuple[str, ...] = ()) -> SimpleNamespace:
    """What the notes of a capture say of suggestions."""
    return SimpleNamespace(accepted=set(accepted), refused=set(refused))


@pytest.mark.parametrize(
    ("said", "answer", "counts"),
    [
        (notes(), Answer.OPEN, (DRY.stretch, GONE.stretch)),
        (notes(accepted=(DRY.key,)), Answer.ACCEPTED, (GONE.stretch,)),
        (notes(refused=(DRY.key,)), Answer.REFUSED, (GONE.stretch,)),
        (notes(accepted=(GONE.key,)), Answer.OPEN, (DRY.stretch,)),
    ],
)
def test_a_suggestion_counts_until_it_is_answered(said, answer, counts) -> None:
    """One that is accepted is an exclusion of the notes from then on, and not counted twice."""
    assert DRY.answer(said) is answer
    assert counting((DRY, GONE), said) == counts


def test_a_note_on_it_holds_the_whole_stretch() -> None:
    """In ns of capture time, with sensor and reason, under the suggestion's key."""
    assert DRY.note() == {
        "suggestion": "strap dry from 20 s",
        "from_ns": 20 * NS_PER_S,
        "to_ns": 45 * NS_PER_S,
        "sensor": 1,
        "reason": "strap dry",
    }


def test_a_fault_of_the_reference_that_stands_is_suggested_to_the_last_second() -> None:
    """Its key names the fault and when it began, and not its end."""

    def warning(since_s: int, end_s: int | None, sensor: int = 1) -> SimpleNamespace:
        return SimpleNamespace(
            kind=WarningKind.SILENT, sensor=sensor, since_s=since_s, end_s=end_s,
            explained_by=None, number=1,
        )  # fmt: skip

    board = SimpleNamespace(
        warnings=(warning(50, None), warning(10, 30), warning(5, 9, sensor=2)),
        plan=SimpleNamespace(reference=1),
        second=99,
    )
    first, last = suggestions(board)  # type: ignore[arg-type]
    assert (first.stretch.start_s, first.stretch.end_s) == (10, 30)
    assert (last.stretch.start_s, last.stretch.end_s) == (50, 100)
    assert last.key == f"{last.stretch.reason} from 50 s"
    assert first.stretch.sensor == last.stretch.sensor == 1
