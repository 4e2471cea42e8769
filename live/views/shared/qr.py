"""A code that a phone reads: the page's address as dark and light squares.

The library that makes it comes with the extra ``page``; where it is not installed the address alone
is shown, which says the same to whoever types it.
"""

from __future__ import annotations

from typing import Final

_QUIET: Final = 2
"""Light squares around it: half of what the standard (ISO/IEC 18004) wants reads as well on a
screen, and leaves room in a terminal."""


def qr_matrix(text: str) -> list[list[bool]]:
    """Rows of squares, true for dark, with a light edge; empty where it cannot be made here."""
    try:
        import segno  # noqa: PLC0415 - an extra
    except ImportError:
        return []
    made = segno.make(text, error="m", micro=False)
    return [[bool(square) for square in row] for row in made.matrix_iter(border=_QUIET)]


def qr_lines(text: str, *, plain: bool = False) -> list[str]:
    """The code for a terminal, two rows to a line: dark squares are left to the ground, so that it
    is light on dark as most terminals are; phones read both.

    ``plain``: only ASCII signs, two to a square.
    """
    rows = qr_matrix(text)
    if plain:
        return ["".join("  " if dark else "##" for dark in row) for row in rows]
    if len(rows) % 2:
        rows.append([True] * len(rows[0]))
    signs = {(False, False): "█", (False, True): "▀", (True, False): "▄", (True, True): " "}
    return [
        "".join(signs[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    ]
