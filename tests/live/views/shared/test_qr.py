"""The code of the page's address: the same squares for every medium."""

from __future__ import annotations

import sys

import segno  # noqa: F401 - an extra, without which this module is skipped

from live.views.shared.qr import qr_lines, qr_matrix

URL = "http://192.168.1.20:8765/0123456789abcdefABCDEF/"
FINDER = [
    "#######", "#.....#", "#.###.#", "#.###.#", "#.###.#", "#.....#", "#######",
]  # fmt: skip
"""ISO/IEC 18004, 6.3.3 (from memory): the pattern in three of the corners."""


def test_a_code_has_its_three_patterns_and_a_light_edge():
    """The corners by which a camera finds it; nothing dark in the two rows around it."""
    rows = qr_matrix(URL)
    side = len(rows)
    assert {len(row) for row in rows} == {side}
    assert not any(rows[0] + rows[1] + rows[-1] + rows[-2])

    def corner(top, left):
        return [
            "".join("#" if rows[top + y][left + x] else "." for x in range(7)) for y in range(7)
        ]

    assert corner(2, 2) == corner(2, side - 9) == corner(side - 9, 2) == FINDER
    assert corner(side - 9, side - 9) != FINDER


def test_lines_of_a_terminal_are_the_same_squares():
    """Two rows to a line of block signs, or two plain signs to a square."""
    rows = qr_matrix(URL)
    lines = qr_lines(URL)
    upper = [[sign in " ▄" for sign in line] for line in lines]
    lower = [[sign in " ▀" for sign in line] for line in lines]
    woven = [row for pair in zip(upper, lower, strict=True) for row in pair]
    assert woven[: len(rows)] == rows
    plain = qr_lines(URL, plain=True)
    assert [[line[2 * x] == " " for x in range(len(rows))] for line in plain] == rows


def test_without_its_library_there_is_no_code(monkeypatch):
    """Nothing fails: the address is shown all the same."""
    monkeypatch.setitem(sys.modules, "segno", None)
    assert (qr_matrix(URL), qr_lines(URL)) == ([], [])
