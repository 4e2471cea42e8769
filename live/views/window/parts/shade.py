"""Counts as shade: the picture behind the agreement plane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QImage, QPainter

from live.views.window.parts.canvas import Area
from live.views.window.parts.counts import Counts, coarser

_PALEST: Final = 100
_DARKEST: Final = 240
"""Opacity of a cell with one pair, and of the fullest cell, of 255."""


@dataclass(frozen=True, slots=True)
class Shade:
    """A picture of counts, and where it stands: ``left``, ``bottom``, ``right``, ``top`` in bpm."""

    image: QImage
    left: float
    bottom: float
    right: float
    top: float

    def draw(self, painter: QPainter, area: Area) -> None:
        """Put it under what follows."""
        left, right = area.x(self.left), area.x(self.right)
        top, bottom = area.y(self.top), area.y(self.bottom)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, False)
        painter.drawImage(QRectF(left, top, right - left, bottom - top), self.image)


def shade_of(
    counts: Counts,
    size: tuple[int, int],
    origin: tuple[float, float],
    colour: QColor,
    *,
    most: int = 0,
) -> Shade | None:
    """The picture of ``counts`` in cells of ``size`` bpm, ``None`` if there are none.

    ``origin``: the bpm that the first bin stands for, across and up.  Opacity grows with the
    square root: one pair is seen beside a thousand, and more still styles like more.  ``most``:
    count of the fullest cell of all pictures that are to be compared; 0 for this one's own.
    """
    cells = coarser(counts, *size)
    across, up = np.flatnonzero(cells.any(axis=1)), np.flatnonzero(cells.any(axis=0))
    if len(across) == 0:
        return None
    # Only the part that holds something: scaling a picture costs by its size on the screen.
    first_x, last_x = int(across[0]), int(across[-1]) + 1
    first_y, last_y = int(up[0]), int(up[-1]) + 1
    part = np.sqrt(cells[first_x:last_x, first_y:last_y].astype(np.float64))
    full = np.sqrt(most) if most else part.max()
    opacity = np.where(part > 0, _PALEST + (_DARKEST - _PALEST) * part / full, 0.0)
    pixels = np.zeros((*part.shape, 4), dtype=np.uint8)
    # Qt wants blue, green, red, each already multiplied by the opacity.
    for channel, value in enumerate((colour.blue(), colour.green(), colour.red(), 255)):
        pixels[..., channel] = np.round(value * opacity / 255)
    rows = np.ascontiguousarray(pixels.transpose(1, 0, 2)[::-1])
    high, wide = rows.shape[:2]
    form = QImage.Format.Format_ARGB32_Premultiplied
    image = QImage(rows.data, wide, high, 4 * wide, form).copy()
    # A bin of one whole bpm reaches half a bpm to either side of it.
    left, bottom = origin[0] - 0.5 + first_x * size[0], origin[1] - 0.5 + first_y * size[1]
    right, top = left + wide * size[0], bottom + high * size[1]
    return Shade(image, left, bottom, right, top)
