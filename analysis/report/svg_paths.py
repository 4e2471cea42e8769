"""Path data of a figure as short as the eye allows: a page of four hours is to open at once.

Coordinates are rounded to a tenth of a point and written as steps.  Of the points of one line that
fall into the same half point across, those are kept that show: the first, the lowest, the highest
and the last; and of what is left those that stand off the line through their neighbours (Douglas
and Peucker 1973; from memory).  A spike or a gap is never among what is dropped.

All lines of a figure are thinned at once, as arrays: it has many more small paths than long ones.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from itertools import accumulate
from typing import Final

import numpy as np
import numpy.typing as npt

COLUMN: Final = 0.5
"""Points across within which four points of a line show all that there is to see."""

APART: Final = 0.35
"""Points by which a corner of a line must stand off to be seen: not half a pixel of a screen."""

_PAIRS: Final = {"M": 1, "L": 1, "Q": 2, "C": 3, "z": 0}
_LINES: Final = re.compile("L+")

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]
Chosen = npt.NDArray[np.bool_]


def compact(path: str) -> str:
    r"""The same path, shorter.  ``path``: absolute ``M``, ``L``, ``Q``, ``C`` and ``z`` alone, as
    matplotlib writes them, each with one set of coordinates; anything else comes back as it is.

    >>> compact("M 10.00 20.04 \nL 10.50 20.04 \nL 10.5 18 \nz")
    'M10 20h.5v-2z'
    """
    return compact_all([path])[0]


def compact_all(paths: Sequence[str]) -> list[str]:
    """:func:`compact` of many paths, in a fraction of the time: all are thinned at once."""
    known = [(place, *read) for place, path in enumerate(paths) if (read := _read(path))]
    if not known:
        return list(paths)
    letters = "".join(letters for _, letters, _ in known)
    points = np.concatenate([points for _, _, points in known])
    firsts = np.cumsum([0, *(_PAIRS[letter] for letter in letters)])
    kept = _showing(letters, firsts, points)
    out = list(paths)
    step = 0
    for place, own, _ in known:
        part = slice(firsts[step], firsts[step := step + len(own)])
        out[place] = _written(own, kept[part].tolist(), np.rint(10 * points[part]).astype(int))
    return out


def _read(path: str) -> tuple[str, Floats] | None:
    """The letters of a path's steps and all its points, float64[n, 2]."""
    tokens = path.split()
    if not tokens or tokens[0] != "M":
        return None
    letters = "".join(token for token in tokens if token in _PAIRS)
    lengths = [1 + 2 * _PAIRS[letter] for letter in letters]
    places = accumulate(lengths[:-1], initial=0)
    if sum(lengths) != len(tokens) or letters != "".join(tokens[place] for place in places):
        return None
    try:
        values = [float(token) for token in tokens if token not in _PAIRS]
    except ValueError:
        return None
    return letters, np.array(values).reshape(-1, 2)


def _showing(letters: str, firsts: Places, points: Floats) -> Chosen:
    """Which points are needed to draw the path, bool[n]; dropped are points of lines alone."""
    runs = [found.span() for found in _LINES.finditer(letters)]
    if not runs:
        return np.ones(len(points), dtype=bool)
    steps = np.array(runs, dtype=np.intp)
    begins, ends = firsts[steps[:, 0]], firsts[steps[:, 1]]
    # What follows a closed part without a step of its own has no point to be drawn on from.
    drawn_on = np.array([begin > 0 and letters[begin - 1] != "z" for begin, _ in runs])
    kept = _in_columns(begins, ends, points)
    places = np.flatnonzero(kept)
    first, last = np.searchsorted(places, begins), np.searchsorted(places, ends) - 1
    thinned = drawn_on & (last - first >= 2)
    left = np.ones(len(places), dtype=bool)
    for begin, end in zip(first[thinned].tolist(), last[thinned].tolist(), strict=True):
        left[begin:end] = False
    left[_corners(first[thinned] - 1, last[thinned], points[places])] = True
    kept[places] = left
    return kept


def _in_columns(begins: Places, ends: Places, points: Floats) -> Chosen:
    """Without the points of lines that do not show within their column."""
    kept = np.ones(len(points), dtype=bool)
    run = np.zeros(len(points), dtype=np.intp)  # 2k + 1 within line k, even in between
    np.add.at(run, begins, 1)
    np.add.at(run, ends[ends < len(points)], 1)
    run = np.cumsum(run)
    column = np.floor(points[:, 0] / COLUMN)
    new = (run[1:] != run[:-1]) | (column[1:] != column[:-1])
    starts = np.concatenate([[0], np.flatnonzero(new) + 1])
    sizes = np.diff(starts, append=len(points))
    crowded = (sizes > 4) & (run[starts] % 2 == 1)
    for start, size in zip(starts[crowded].tolist(), sizes[crowded].tolist(), strict=True):
        down = points[start : start + size, 1]
        kept[start : start + size] = False
        kept[[start, start + down.argmin(), start + down.argmax(), start + size - 1]] = True
    return kept


def _corners(first: Places, last: Places, points: Floats) -> Places:
    """The points that are needed to draw lines from ``first`` to ``last``, their ends among them.

    All stretches between needed points are halved at once, until no point stands off.
    """
    needed = [last]
    while len(first):
        wide = last - first > 1
        first, last = first[wide], last[wide]
        if not len(first):
            break
        counts = last - first - 1
        starts = np.cumsum(counts) - counts
        owner = np.repeat(np.arange(len(first)), counts)
        inner = np.arange(len(owner)) + (first + 1 - starts)[owner]
        square = _apart(points, inner, first[owner], last[owner])
        most = np.maximum.reduceat(square, starts)
        farthest = np.flatnonzero(square == most[owner])
        place = inner[farthest[np.searchsorted(farthest, starts)]]
        off = most > APART * APART
        needed.append(place[off])
        first, last = (
            np.concatenate([first[off], place[off]]),
            np.concatenate([place[off], last[off]]),
        )
    return np.concatenate(needed)


def _apart(points: Floats, at: Places, first: Places, last: Places) -> Floats:
    """Square of the distance of points from the stretches between two others each."""
    # Column by column: to go along rows of two numbers takes several times as long.
    x, y = points.T.copy()
    begin_x, begin_y = x[first], y[first]
    along_x, along_y = x[last] - begin_x, y[last] - begin_y
    off_x, off_y = x[at] - begin_x, y[at] - begin_y
    square = along_x * along_x + along_y * along_y
    share = (off_x * along_x + off_y * along_y) / np.where(square > 0, square, 1.0)
    share = np.clip(share, 0.0, 1.0)
    off_x -= share * along_x
    off_y -= share * along_y
    distance: Floats = off_x * off_x + off_y * off_y
    return distance


def _written(letters: str, kept: list[bool], tenths: npt.NDArray[np.int_]) -> str:
    """The steps whose points are kept.  ``tenths``: all points in tenths of a point."""
    out: list[str] = []
    x = y = begun_x = begun_y = place = 0
    points = tenths.tolist()
    for letter in letters:
        end = place + _PAIRS[letter]
        if letter == "z":
            out.append("z")
            x, y = begun_x, begun_y
        elif letter == "L":
            if kept[place]:
                to_x, to_y = points[place]
                out.append(_line(to_x - x, to_y - y))
                x, y = to_x, to_y
        elif letter == "M":
            x, y = begun_x, begun_y = points[place]
            out.append(f"M{_joined(x, y)}")
        else:
            flat = [part for to_x, to_y in points[place:end] for part in (to_x - x, to_y - y)]
            out.append(letter.lower() + _joined(*flat))
            x, y = points[end - 1]
        place = end
    return "".join(out)


def _line(across: int, down: int) -> str:
    if not down:
        return f"h{_number(across)}"
    return f"v{_number(down)}" if not across else f"l{_joined(across, down)}"


def _joined(*tenths: int) -> str:
    """Numbers side by side: a minus parts them as well as a space does."""
    text = ""
    for tenth in tenths:
        number = _number(tenth)
        text += number if not text or number.startswith("-") else f" {number}"
    return text


@lru_cache(maxsize=4096)
def _number(tenths: int) -> str:
    whole, rest = divmod(abs(tenths), 10)
    text = f"{whole or ''}.{rest}" if rest else str(whole)
    return f"-{text}" if tenths < 0 else text
