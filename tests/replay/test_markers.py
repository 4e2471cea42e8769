"""A marker's payload: text, and the moment it speaks of."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.markers import decode_marker, encode_marker
from replay.text import printable


@given(st.text(alphabet=st.characters(exclude_categories=["Cc", "Cs"])))
def test_text_without_a_moment_is_the_payload(text: str) -> None:
    """Without a moment the payload is the printable text alone, and the moment is the event's."""
    assert encode_marker(text) == printable(text).encode()
    assert decode_marker(5, encode_marker(text)) == (5, printable(text))


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])), st.integers(0, 2**63 - 1))
def test_a_moment_comes_back(text: str, moment_ns: int) -> None:
    """Moment and text come back, the text printable."""
    back = decode_marker(2**63 - 1, encode_marker(text, moment_ns))
    assert back == (moment_ns, printable(text))


def test_a_separator_in_the_text_is_no_separator() -> None:
    """A unit separator that was typed into a note cuts nothing off."""
    assert decode_marker(9, encode_marker("a\x1fb", 4)) == (4, "a b")
    assert decode_marker(9, encode_marker("7\x1fb")) == (9, "7 b")


@pytest.mark.parametrize(
    "payload", [b"8\x1fx", b"-1\x1fx", b"\x1fx", "\u0663\x1fx".encode(), b"1" * 5000 + b"\x1fx"]
)
def test_a_moment_that_cannot_be_is_none(payload: bytes) -> None:
    """A moment after the event, or that is no number, is the event's own."""
    assert decode_marker(7, payload) == (7, "x")


def test_bytes_that_are_no_text_are_shown_as_such() -> None:
    """A payload that is no UTF-8 is a marker all the same."""
    assert decode_marker(1, b"\xff") == (1, "\ufffd")
