"""Numbers as text: written in one way wherever they stand."""

from __future__ import annotations

import pytest

from analysis.report.words import TOO_WIDE, WIDE_R, ends, interval, number, share_text
from analysis.statistics.estimate import Estimate


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


@pytest.mark.parametrize(
    ("value", "inside", "wide", "text"),
    [
        (-7.45, (-44.1, 29.2), 10.0, TOO_WIDE),
        (26.5, (6.4, 109.3), 10.0, TOO_WIDE),
        (0.0, (-5.0, 5.0), 10.0, "−5.0 to +5.0"),  # no wider than what matters
        (0.0, (-5.0, 5.1), 10.0, TOO_WIDE),
        (-58.0, (-100.0, -42.0), 10.0, "−100.0 to −42.0"),  # as wide as the value, not wider
        (-58.0, (-100.1, -42.0), 10.0, TOO_WIDE),
        (0.4, (0.1, 0.61), WIDE_R, TOO_WIDE),
        (0.4, (0.1, 0.59), WIDE_R, "+0.1 to +0.6"),
        (3.0, None, 10.0, ""),
        (None, None, 10.0, ""),
    ],
)
def test_an_interval_wider_than_its_value_is_said_in_words(value, inside, wide, text) -> None:
    """Wider than the value and than anything that matters: words in place of numbers."""
    assert ends(Estimate(value, inside), 1, sign=True, wide=wide) == text


def test_an_interval_of_shares_never_ends_at_all() -> None:
    """The upper end of a share that is not quite all is not 100 %."""
    assert ends(Estimate(92.0, (39.0, 99.96)), 0, unit="%") == "39 to 99.9 %"
