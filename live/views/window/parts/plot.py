"""A view box with axes around it: what of pyqtgraph's plot the panels here are made of.

Its ``PlotItem`` brings a form of settings, a menu, four axes, a title and a button, all made
whether they are shown or not: a third of what a window would cost.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pyqtgraph as pg
from PySide6.QtWidgets import QGraphicsGridLayout, QSizePolicy, QWidget

_CELLS: Final = {"top": (0, 1), "left": (1, 0), "right": (1, 2), "bottom": (2, 1)}
"""Row and column of each axis, around the view box in the middle."""


class Plot(pg.GraphicsWidget):  # type: ignore[misc]  # pyqtgraph is untyped
    """``vb``: the view box, whose ranges are set, never found.  It has these axes and no others.

    ``moves``: along x the picture follows the mouse.
    """

    def __init__(self, axes: Mapping[str, pg.AxisItem], *, moves: bool = False) -> None:
        super().__init__()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.vb = pg.ViewBox(parent=self, enableMenu=False)
        self.vb.setMouseEnabled(x=moves, y=False)
        self.vb.disableAutoRange()
        self._axes = dict(axes)
        cells = QGraphicsGridLayout()
        cells.setContentsMargins(1, 1, 1, 1)
        cells.setSpacing(0)
        cells.setRowStretchFactor(1, 100)
        cells.setColumnStretchFactor(1, 100)
        cells.addItem(self.vb, 1, 1)
        for side, axis in self._axes.items():
            axis.linkToView(self.vb)
            axis.setZValue(0.5)  # above what is painted in the view box
            cells.addItem(axis, *_CELLS[side])
        self.setLayout(cells)

    def getAxis(self, side: str) -> pg.AxisItem:
        """The axis on this side.  Raises :class:`KeyError` if there is none."""
        return self._axes[side]


class PlotPane(pg.GraphicsView):  # type: ignore[misc]  # pyqtgraph is untyped
    """A widget that is filled by one plot."""

    def __init__(self, axes: Mapping[str, pg.AxisItem], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.plot = Plot(axes)
        self.setCentralItem(self.plot)
