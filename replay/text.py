"""Text that others wrote, made fit to be shown.

Labels, notes, a sensor's own name, the sentence of a broker: all of it comes from outside, and some
of it could steer a terminal, turn the order of a line round, or hide in it.  It passes through
:func:`printable` where it is decoded, so that everything behind the decoders has plain text:

- a plan (:mod:`replay.plan`), typed, found in a capture or sent by one;
- what a sensor says of itself (:mod:`replay.payloads`), markers (:mod:`replay.markers`), the advice
  of a link, and notes (:mod:`replay.capture.notes`), as they are decoded;
- the names of sensors in reach, as the scan and the broker report them;
- every sentence of an error (:class:`replay.errors.SidebeatError`), with whatever it quotes of a
  file, a path, a bus or a broker.

The bytes of a capture stay as they came.
"""

from __future__ import annotations

from typing import Final

REPLACEMENT: Final = "\N{REPLACEMENT CHARACTER}"
"""Stands where a sign stood that is not shown, so that the reader sees that there was one."""

_BLANK: Final = frozenset("\t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u2028\u2029")
_UNSEEN: Final = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u3164\uffa0")
"""Letters and marks by their category, but drawn as nothing (Unicode: Default_Ignorable)."""
_JOINERS: Final = frozenset("\u200c\u200d")
_FORMULA: Final = frozenset("=+-@\t\r'")
"""The apostrophe itself too, so that what was written can be had back without a guess."""


def printable(text: str) -> str:
    """The text on one line, without a sign that steers, hides or is half a character.

    Tabs, line ends and separators become blanks.  Every other control or format character
    (escape sequences, bidirectional overrides and isolates, zero-width signs), lone surrogate,
    private or unassigned code point becomes U+FFFD.  Blanks of any width stay, and so does a joiner
    between two signs that are not ASCII: scripts and pictographs are spelled with it.
    """
    # Printable in Python's sense leaves out all of these but the letters that are drawn as nothing.
    if text.isprintable() and _UNSEEN.isdisjoint(text):
        return text
    return "".join(_shown(text, at) for at in range(len(text)))


def is_printable(text: str) -> bool:
    """Whether the text is shown just as it is."""
    return printable(text) == text


def as_cell(text: str) -> str:
    """The text as a cell of a table that a spreadsheet may open.

    A spreadsheet takes a cell that begins with one of these signs for a formula; with an apostrophe
    before it, it shows the text (common practice of spreadsheets).
    """
    return f"'{text}" if text[:1] and text[0] in _FORMULA else text


def _shown(text: str, at: int) -> str:
    sign = text[at]
    if sign in _BLANK:
        return " "
    if sign in _JOINERS:
        beside = text[max(at - 1, 0) : at] + text[at + 1 : at + 2]
        spelled = len(beside) == 2 and all(c > "\x7f" and c.isprintable() for c in beside)
        return sign if spelled else REPLACEMENT
    if sign in _UNSEEN or not (sign.isprintable() or sign.isspace()):
        return REPLACEMENT
    return sign


def grouped(value: int) -> str:
    """A whole number with thin spaces between thousands, as every screen and page writes it."""
    return f"{value:,}".replace(",", "\u202f")
