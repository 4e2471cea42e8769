"""Counts of pairs as shade: one path for each shade, because a cell each would make a page of
megabytes.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from analysis.report.palette import LIGHT

SHADES: Final = ("shade-1", "shade-2", "shade-3", "shade-4")
_ROUND: Final = (1, 2, 5)


def even_steps(most: int) -> tuple[int, ...]:
    """Least count of each shade, round numbers about evenly apart as ratios, up to ``most``.

    >>> even_steps(10_000)
    (1, 10, 100, 1000)
    """
    steps = [1]
    for power in range(1, len(SHADES)):
        wanted = max(most, 1) ** (power / len(SHADES))
        steps.append(max(steps[-1] + 1, _rounded(wanted)))
    return tuple(steps)


def _rounded(value: float) -> int:
    decade = 10 ** int(np.floor(np.log10(max(value, 1.0))))
    return int(decade * max(one for one in _ROUND if one * decade <= max(value, 1.0)))


def shade_cells(
    ax: Axes,
    centres: npt.NDArray[np.float64],
    counts: npt.NDArray[np.int64],
    steps: tuple[int, ...],
    size: tuple[float, float],
) -> None:
    """Draw cells.  ``centres`` float64[k, 2]; ``counts`` int64[k] ≥ 1; ``size``: width, height."""
    if not len(centres):
        return
    shade_of = np.searchsorted(steps, counts, side="right") - 1
    corners = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5), (-0.5, -0.5)])
    codes = [Outline.MOVETO, *[Outline.LINETO] * 3, Outline.CLOSEPOLY]
    for shade, name in enumerate(SHADES):
        chosen = centres[shade_of == shade]
        if len(chosen):
            outline = (chosen[:, None, :] + corners * np.array(size)).reshape(-1, 2)
            path = Outline(outline, codes * len(chosen))
            patch = PathPatch(path, facecolor=LIGHT[name], edgecolor="none", zorder=1.5)
            # Not add_patch: it would ask each edge of each cell how far the axes must reach, and
            # the figures set that themselves.
            ax.add_artist(patch)
