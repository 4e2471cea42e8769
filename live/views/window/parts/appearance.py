"""Theme and size of the text of a window, as the user last chose them."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtGui import QFont
from PySide6.QtWidgets import QApplication, QMainWindow, QToolTip, QWidget

from live.views.window.parts.preferences import SIZES, USUAL_SIZE, PreferenceStore
from live.views.window.parts.theme import (
    DARK,
    FRAMED,
    LIGHT,
    THEMES,
    Theme,
    framed_palette,
    palette,
    style_sheet,
)


class Appearance:
    """What one window wears.  ``size``: index into
    :data:`~live.views.window.parts.preferences.SIZES`.

    ``remembered``: set by who opens the window, so that what the user changes is kept; without it
    nothing is read or written.
    """

    def __init__(self, theme: Theme) -> None:
        self.theme = theme
        self.size = USUAL_SIZE
        self.remembered: PreferenceStore | None = None
        self._usual = QFont(QApplication.font())

    def recall(self, remembered: PreferenceStore) -> None:
        """Take what the user chose in an earlier run, and keep what is chosen from now on."""
        self.remembered = remembered
        self.size = remembered.chosen.size
        self.theme = THEMES.get(remembered.chosen.theme, self.theme)

    def turn(self) -> None:
        """The other theme."""
        self.theme = LIGHT if self.theme.is_dark else DARK
        if self.remembered is not None:
            self.remembered.keep(replace(self.remembered.chosen, theme=self.theme.name))

    def resize(self, step: int) -> None:
        """Larger (1) or smaller (−1) text; 0 for the usual size."""
        wanted = self.size + step if step else USUAL_SIZE
        self.size = min(max(wanted, 0), len(SIZES) - 1)
        if self.remembered is not None:
            self.remembered.keep(replace(self.remembered.chosen, size=self.size))

    @property
    def font(self) -> QFont:
        """The font of the chosen size."""
        font = QFont(self._usual)
        font.setPointSizeF(self._usual.pointSizeF() * SIZES[self.size])
        return font

    def apply(self, window: QMainWindow, more: str = "") -> QFont:
        """Style a window; returns the font for what is painted.  ``more``: style of its own."""
        font = self.font
        # The palette is the application's: a window's own does not reach all of its parts.
        QApplication.setPalette(palette(self.theme))
        for kind in FRAMED:
            # The stub wants bytes, the function a str.
            QApplication.setPalette(framed_palette(self.theme), kind)  # type: ignore[arg-type]
        window.setFont(font)
        QToolTip.setFont(font)
        dress(window, style_sheet(self.theme, font.pointSizeF()) + more)
        return font


def dress(part: QWidget, sheet: str) -> None:
    """Style a part, unless it is styled so: all that it holds would be styled anew."""
    if part.styleSheet() != sheet:
        part.setStyleSheet(sheet)
