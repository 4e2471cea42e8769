"""Path data of a figure as short as the eye allows: a page of four hours is to open at once.

Coordinates are rounded to a tenth of a point and written as steps.  Of the points of one line that
fall into the same half point across, those are kept that show: the first, the lowest, the highest
and the last; and of what is left those that stand off the line through their neighbours (Douglas
and Peucker 1973; from memory).  A spike or a gap is never among what is dropped.
"""

from __future__ import annotations

import re
from typing import Final

COLUMN: Final = 0.5
"""Points across within which four points of a line show all that there is to see."""

APART: Final = 0.35
"""Points by which a corner of a line must stand off to be seen: not half a pixel of a screen."""

_TOKENS: Final = re.compile(r"[MLCQz]|-?\d*\.?\d+(?:e-?\d+)?")
_PAIRS: Final = {"M": 1, "L": 1, "Q": 2, "C": 3}

Point = tuple[float, float]


def compact(path: str) -> str:
    r"""The same path, shorter.  ``path``: absolute ``M``, ``L``, ``Q``, ``C`` and ``z`` alone, as
    matplotlib writes them, each with one set of coordinates; anything else comes back as it is.

    >>> compact("M 10.00 20.04 \nL 10.50 20.04 \nL 10.5 18 \nz")
    'M10 20h.5v-2z'
    """
    steps = _steps(path)
    if steps is None:
        return path
    out: list[str] = []
    at = begun = (0, 0)
    for letter, points in _thinned(steps):
        if letter == "z":
            out.append("z")
            at = begun
            continue
        tenths = [(round(10 * x), round(10 * y)) for x, y in points]
        if letter == "M":
            at = begun = tenths[0]
            out.append(f"M{_joined(at)}")
        elif letter == "L":
            out.append(_line(tenths[0][0] - at[0], tenths[0][1] - at[1]))
            at = tenths[0]
        else:
            flat = [part - at[axis] for pair in tenths for axis, part in enumerate(pair)]
            out.append(letter.lower() + _joined(flat))
            at = tenths[-1]
    return "".join(out)


def _steps(path: str) -> list[tuple[str, list[Point]]] | None:
    tokens = _TOKENS.findall(path)
    if re.sub(_TOKENS, "", path).strip():
        return None
    steps: list[tuple[str, list[Point]]] = []
    place = 0
    while place < len(tokens):
        letter = tokens[place]
        if letter == "z":
            steps.append((letter, []))
            place += 1
            continue
        if letter not in _PAIRS:
            return None
        values = [float(token) for token in tokens[place + 1 : place + 1 + 2 * _PAIRS[letter]]]
        steps.append((letter, list(zip(values[::2], values[1::2], strict=True))))
        place += 1 + 2 * _PAIRS[letter]
    return steps


def _thinned(steps: list[tuple[str, list[Point]]]) -> list[tuple[str, list[Point]]]:
    """Runs of ``L`` within one column are left with the points that show."""
    kept: list[tuple[str, list[Point]]] = []
    line: list[Point] = []
    run: list[Point] = []
    begin: Point | None = None
    for letter, points in [*steps, ("", [])]:
        if letter == "L" and (not run or _column(points[0]) == _column(run[0])):
            run.append(points[0])
            continue
        line += _showing(run)
        run = [points[0]] if letter == "L" else []
        if letter == "L":
            continue
        kept += [("L", [point]) for point in _corners(begin, line)]
        line = []
        begin = points[-1] if points else None
        if letter:
            kept.append((letter, points))
    return kept


def _corners(begin: Point | None, line: list[Point]) -> list[Point]:
    """Those of the points of a line that is drawn on from ``begin`` that are needed to draw it."""
    if begin is None or len(line) < 3:
        return line
    points = [begin, *line]
    needed = {len(points) - 1}
    stretches = [(0, len(points) - 1)]
    while stretches:
        first, last = stretches.pop()
        place, apart = _farthest(points, first, last)
        if apart > APART:
            needed.add(place)
            stretches += [(first, place), (place, last)]
    return [points[place] for place in sorted(needed)]


def _farthest(points: list[Point], first: int, last: int) -> tuple[int, float]:
    """The point between two that lies farthest from the stretch between them, and how far."""
    (x, y), (to_x, to_y) = points[first], points[last]
    along_x, along_y = to_x - x, to_y - y
    square = along_x * along_x + along_y * along_y
    found, apart = first, 0.0
    for place in range(first + 1, last):
        px, py = points[place][0] - x, points[place][1] - y
        share = (px * along_x + py * along_y) / square if square else 0.0
        share = min(max(share, 0.0), 1.0)
        distance = (px - share * along_x) ** 2 + (py - share * along_y) ** 2
        if distance > apart:
            found, apart = place, distance
    return found, apart**0.5


def _column(point: Point) -> int:
    return int(point[0] // COLUMN)


def _showing(run: list[Point]) -> list[Point]:
    if len(run) <= 4:
        return run
    places = {0, len(run) - 1}
    places.add(min(range(len(run)), key=lambda place: run[place][1]))
    places.add(max(range(len(run)), key=lambda place: run[place][1]))
    return [run[place] for place in sorted(places)]


def _line(across: int, down: int) -> str:
    if not down:
        return f"h{_number(across)}"
    return f"v{_number(down)}" if not across else f"l{_joined((across, down))}"


def _joined(tenths: list[int] | tuple[int, ...]) -> str:
    """Numbers side by side: a minus parts them as well as a space does."""
    text = ""
    for tenth in tenths:
        number = _number(tenth)
        text += number if not text or number.startswith("-") else f" {number}"
    return text


def _number(tenths: int) -> str:
    whole, rest = divmod(abs(tenths), 10)
    text = f"{whole or ''}.{rest}" if rest else str(whole)
    return f"-{text}" if tenths < 0 else text
