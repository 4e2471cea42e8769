"""How many notes a capture may have, and how long they may be together."""

from __future__ import annotations

from pathlib import Path

import pytest

from replay.capture import gate
from replay.errors import DamagedCapture

PATH = Path("c.sqlite")


def _rows(count: int, body: str = "{}") -> list[tuple[object, ...]]:
    """Of 2 bytes each beside the body."""
    return [(number, 10**18, "m!", body, 7) for number in range(1, count + 1)]


def test_as_many_as_may_be_are_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """And of one more than that none beyond."""
    monkeypatch.setattr(gate, "MOST_NOTES", 3)
    assert list(gate.bounded_notes(_rows(3), PATH)) == _rows(3)
    passed: list[tuple[object, ...]] = []
    with pytest.raises(DamagedCapture):
        passed.extend(gate.bounded_notes(_rows(5), PATH))
    assert passed == _rows(3)


def test_as_long_as_may_be_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """Kind and body count, numbers do not."""
    rows = _rows(2, "x" * 98)
    monkeypatch.setattr(gate, "MOST_NOTE_BYTES", 200)
    assert list(gate.bounded_notes(rows, PATH)) == rows
    monkeypatch.setattr(gate, "MOST_NOTE_BYTES", 199)
    with pytest.raises(DamagedCapture):
        list(gate.bounded_notes(rows, PATH))


def test_the_sentence_says_what_is_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    """In numbers that are the bounds."""
    monkeypatch.setattr(gate, "MOST_NOTES", 700)
    with pytest.raises(DamagedCapture) as caught:
        list(gate.bounded_notes(_rows(701), PATH))
    assert str(caught.value) == (
        "c.sqlite: it has more than 700 notes, or 20 MB of them, which nobody has written"
    )
