"""Path data of a figure as short as the eye allows: a page of four hours is to open at once.

Coordinates are rounded to a tenth of a point and written as steps, and of the points of one line
that fall into the same half point across, those are kept that show: the first, the lowest, the
highest and the last.
"""

from __future__ import annotations

import re
from typing import Final

COLUMN: Final = 0.5
"""Points across within which four points of a line show all that there is to see."""

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
    run: list[Point] = []
    for letter, points in [*steps, ("", [])]:
        if letter == "L" and (not run or _column(points[0]) == _column(run[0])):
            run.append(points[0])
            continue
        kept += [("L", [point]) for point in _showing(run)]
        run = [points[0]] if letter == "L" else []
        if letter not in ("L", ""):
            kept.append((letter, points))
    return kept


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
