"""Numbers as text: written in one way wherever they stand."""

from __future__ import annotations

import pytest

from analysis.report.words import interval, number, share_text


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (100.0, 0, "100"), (100.0, 1, "100.0"), (0.0, 0, "0"), (0.0, 1, "0.0"),
        (99.97, 0, "99.9"), (99.97, 1, "99.9"), (99.5, 0, "99.5"), (99.4, 0, "99"),
        (99.94, 1, "99.9"), (0.02, 0, "0.1"), (0.02, 1, "0.1"), (0.4, 0, "0.4"), (0.6, 0, "1"),
        (38.7, 0, "39"), (38.7, 1, "38.7"),
    ],
)  # fmt: skip
def test_a_share_is_never_rounded_to_all_or_nothing(value, digits, text) -> None:
    """What is not quite 100 % or 0 % is shown so, with however many digits the place has."""
    assert share_text(value, digits) == text


def test_a_minus_is_a_minus_and_zero_has_no_sign() -> None:
    """A true minus sign, a plus only where asked for, none before what rounds to 0."""
    assert number(-1.25, 1) == "−1.2"
    assert number(1.25, 1, sign=True) == "+1.2"
    assert number(-0.04, 1, sign=True) == "0.0"
    assert interval((-1.0, 2.0), 1, sign=True, unit="bpm") == "−1.0 to +2.0 bpm"
    assert interval(None, 1) == ""
