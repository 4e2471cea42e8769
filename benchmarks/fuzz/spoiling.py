"""Ways to spoil bytes and text, drawn from one seeded source."""

from __future__ import annotations

import random
from collections.abc import Sequence

EDGES = (0, 1, 0x7F, 0x80, 0xFE, 0xFF)
SIGNS = (
    "\0", "\x1b[2J", "\u202e", "\ud800", "\u200b", "=", "'", '"', "\\", "[[", "{" * 50, "\n", "\r",
    "９", "1e999", "9" * 400, "-0", "NaN", "\N{LATIN SMALL LETTER A WITH DIAERESIS}", "𐀀",
)  # fmt: skip


def spoiled(data: bytes, chance: random.Random) -> bytes:
    """The bytes with one to four changes: flipped, set, cut, doubled, moved, or put in."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        if not changed:
            return chance.randbytes(chance.randint(0, 30))
        at, other = chance.randrange(len(changed)), chance.randrange(len(changed))
        low, high = min(at, other), min(max(at, other) + 1, min(at, other) + 64)
        match chance.randrange(6):
            case 0:
                changed[at] ^= 1 << chance.randrange(8)
            case 1:
                changed[at] = chance.choice(EDGES)
            case 2:
                del changed[low:high]
            case 3:
                changed[at:at] = changed[low:high]
            case 4:
                del changed[at:]
            case _:
                changed[at:at] = chance.randbytes(chance.randint(1, 9))
    return bytes(changed)


def spoiled_text(text: str, chance: random.Random) -> str:
    """The text with one to four changes: letters, lines and signs that mean something."""
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(text) + 1)
        lines = text.splitlines(keepends=True) or [""]
        line = chance.randrange(len(lines))
        match chance.randrange(5):
            case 0:
                text = text[:at] + chance.choice(SIGNS) + text[at:]
            case 1:
                text = text[:at] + text[at + chance.randint(1, 9) :]
            case 2:
                text = "".join([*lines[:line], *lines[line + 1 :]])
            case 3:
                text = "".join([*lines[: line + 1], *lines[line:]])
            case _:
                text = text[:at] + chr(
                    chance.choice((chance.randrange(128), 0x2028, 0xE000, 0xD801))
                )
                text += "".join(lines)[at:]
    return text


def flooded(data: bytes, chance: random.Random) -> bytes:
    """The bytes with a piece of them repeated some thousand times."""
    at = chance.randrange(len(data))
    piece = data[at : at + chance.randint(1, 60)]
    return data[:at] + piece * chance.randint(1000, 10_000) + data[at:]


def one_of(given: Sequence[bytes], chance: random.Random) -> bytes:
    """Sometimes as it is, mostly spoiled, sometimes anything."""
    kind = chance.randrange(20)
    if kind == 0:
        return chance.choice(given)
    if kind == 1:
        return chance.randbytes(chance.randint(0, 60))
    return spoiled(chance.choice(given), chance)
