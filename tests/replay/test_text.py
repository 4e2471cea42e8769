"""What may be shown of a text that others wrote."""

from __future__ import annotations

import sys
import unicodedata

import pytest

from replay.errors import ActivityFileError, PlanError, SidebeatError
from replay.markers import decode_marker, encode_marker
from replay.plan import parse_plan
from replay.text import REPLACEMENT, as_cell, is_printable, printable


def test_no_sign_of_unicode_steers_or_hides():
    """Of all code points, none that comes out is of a category that is not seen, joiners apart."""
    text = "".join(chr(code) for code in range(sys.maxunicode + 1))
    unseen = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    assert {c for c in set(printable(text)) if unicodedata.category(c) in unseen} == set()


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("Sorrel [left] <b>&amp;</b> $x$ ±5 °", "Sorrel [left] <b>&amp;</b> $x$ ±5 °"),
        ("\x1b[31mred\x1b[0m", f"{REPLACEMENT}[31mred{REPLACEMENT}[0m"),
        ("a\tb\r\nc\u2028d", "a b  c d"),
        ("\u202egnp.exe\u2066", f"{REPLACEMENT}gnp.exe{REPLACEMENT}"),
        ("Sor\u200brel\u3164", f"Sor{REPLACEMENT}rel{REPLACEMENT}"),
        ("half \ud83d", f"half {REPLACEMENT}"),
        ("3\u202f000\xa0m", "3\u202f000\xa0m"),
    ],
)
def test_what_stands_for_what(given, shown):
    """Line ends become blanks, what steers or hides becomes U+FFFD, all else stays as it is."""
    assert printable(given) == shown
    assert is_printable(given) == (given == shown)


def test_spelling_keeps_its_joiners():
    """A joiner stays inside a word or pictograph that is spelled with it, and nowhere else."""
    woman_running, mi_shavad = (
        "\U0001f3c3\u200d\u2640\ufe0f",
        "\u0645\u06cc\u200c\u0634\u0648\u062f",
    )
    assert printable(woman_running) == woman_running
    assert printable(mi_shavad) == mi_shavad
    assert "\u200d" not in printable("Sor\u200drel")
    assert "\u200c" not in printable("\u200c\u0645")


def test_printable_text_stays():
    """Made printable twice is made printable once."""
    text = "".join(chr(code) for code in range(0x3000))
    assert printable(printable(text)) == printable(text)


PLAN = """
[session]
wearer = "W1"
activity = "rowing \\u001b[2J"

[[sensor]]
label = "Yarrow\\u202e"
role = "reference"
placement = "chest\\u0007"
name = "Yarrow"

[[sensor]]
label = "Sorrel"
role = "test"
source = "mqtt"
topic = "gym/{topic}"
"""


def test_a_plan_is_read_printable():
    """Whatever its texts hold."""
    plan = parse_plan(PLAN.replace("{topic}", "sorrel"))
    assert plan.activity == f"rowing {REPLACEMENT}[2J"
    assert plan.sensors[0].label == f"Yarrow{REPLACEMENT}"
    assert plan.sensors[0].placement == f"chest{REPLACEMENT}"


def test_where_to_find_a_sensor_is_not_changed_in_silence():
    """A topic that cannot be shown as it is, is refused: another one would be listened to."""
    with pytest.raises(PlanError, match="cannot be seen"):
        parse_plan(PLAN.replace("{topic}", "sor\\u200brel"))


@pytest.mark.parametrize("kind", [SidebeatError, ActivityFileError])
def test_the_sentence_of_an_error(kind):
    """Names of files, and what a bus or a broker said, are printable in it."""
    assert str(kind("a\x1b]0;b\x07.csv: is\nno table")) == "a\ufffd]0;b\ufffd.csv: is no table"


def test_markers():
    """Typed or stored, a marker is read printable."""
    assert decode_marker(9, b"warm\x1b[2J") == (9, f"warm{REPLACEMENT}[2J")
    assert decode_marker(9, b"5\x1fwarm\x9b".replace(b"\x9b", "\x9b".encode())) == (5, "warm\ufffd")
    assert decode_marker(9, encode_marker("half \ud83d", 5)) == (5, f"half {REPLACEMENT}")


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "'"])
def test_a_cell_is_no_formula(sign) -> None:
    """What a spreadsheet would take for a formula stands behind an apostrophe."""
    assert as_cell(f"{sign}1+1") == f"'{sign}1+1"
    assert as_cell(f"1{sign}1") == f"1{sign}1"
    assert as_cell("") == ""
