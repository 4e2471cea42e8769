"""The sheets that figures are drawn on: their sizes, their type, their frame, and how they are
saved.

Every length inside a figure is made of the sheet's size of type, so that one way of drawing
serves a page, a phone, a printed sheet and a video picture.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.transforms import Affine2D
from PIL import Image

from analysis.report.palette import LIGHT
from analysis.report.svg_paths import compact_all
from analysis.report.svg_shared import shared
from analysis.report.words import INVENTED
from replay.text import printable

Inches: TypeAlias = Sequence[float] | npt.NDArray[np.float64]

POINTS: Final = 72.0
"""Points in an inch."""

_COORDINATES: Final = re.compile(r' d="([^"]*)"')
_FINER: Final = re.compile(r"(?<=\.\d\d)\d+")

_FONTS: Final = "'DejaVu Sans', Verdana, sans-serif"
"""Verdana has the widths of DejaVu Sans, which the figures are laid out with."""


@dataclass(frozen=True, slots=True)
class Layout:
    """One size of sheet.  ``width_in``, ``height_in``: inches; a height of 0 lets the figure take
    what it needs.  ``type_pt``: size of type.  ``columns``: planes beside each other, and
    ``cells``: efforts beside each other, at most.  ``headed``: with a title, for sheets that
    stand alone.
    """

    name: str
    width_in: float
    height_in: float
    type_pt: float
    columns: int
    cells: int
    headed: bool

    @property
    def em(self) -> float:
        """The size of type in inches."""
        return self.type_pt / POINTS

    def for_sensors(self, count: int) -> Layout:
        """The layout with smaller type where its height is fixed and the sensors are many."""
        if not self.height_in or count <= FEW_SENSORS:
            return self
        return replace(self, type_pt=self.type_pt * (FEW_SENSORS / count) ** 0.7)


FEW_SENSORS: Final = 4
"""Test sensors for which a sheet of fixed height has room at its full size of type."""

PAGE: Final = Layout("page", 9.0, 0.0, 9.5, 3, 9, headed=False)
PHONE: Final = Layout("phone", 3.7, 0.0, 8.5, 1, 3, headed=False)
VIDEO: Final = Layout("video", 19.2, 10.8, 19.0, 4, 15, headed=True)
PRINT: Final = replace(PAGE, name="print", headed=True)

VIDEO_DPI: Final = {"1920x1080": 100, "3840x2160": 200}
PRINT_DPI: Final = 300


@dataclass(frozen=True, slots=True)
class Heading:
    """What stands above a sheet that stands alone, and below it."""

    title: str
    session: str
    foot: str
    invented: bool


class Overlay:
    """The whole sheet in inches from its upper left corner, over axes and under the words.

    What is put on it belongs to the figure itself: axes would bring ticks, limits and a clip path,
    which nothing here needs.
    """

    def __init__(self, figure: Figure) -> None:
        self._figure = figure
        width, height = figure.get_size_inches()
        to_sheet = Affine2D().scale(1 / width, -1 / height).translate(0, 1)
        self._inches = to_sheet + figure.transSubfigure

    def plot(self, x: Inches, y: Inches, **look: object) -> None:
        """Put a line on it, or shapes; ``look`` as of :class:`matplotlib.lines.Line2D`."""
        self._figure.add_artist(Line2D(x, y, transform=self._inches, **look))  # type: ignore[arg-type]

    def add_patch(self, patch: Patch) -> None:
        """Put a box on it."""
        patch.set_transform(self._inches)
        self._figure.add_artist(patch)


class FigureCanvas:
    """A matplotlib figure with places in inches from the upper left corner.

    ``top``, ``bottom``: the part between heading and foot, in inches from the top.
    """

    def __init__(self, layout: Layout, height_in: float, heading: Heading) -> None:
        self.layout = layout
        head = 3.4 * layout.em if layout.headed else 0.0
        foot = 1.7 * layout.em if layout.headed else 0.0
        if not layout.headed and heading.invented:
            head = 1.6 * layout.em
        self.width = layout.width_in
        self.height = layout.height_in or height_in + head + foot
        self.top, self.bottom = head, self.height - foot
        self.figure = Figure(figsize=(self.width, self.height), facecolor=LIGHT["ground"])
        FigureCanvasAgg(self.figure)
        self._head(heading)

    def _head(self, heading: Heading) -> None:
        em, margin = self.layout.em, 0.8 * self.layout.em
        if self.layout.headed:
            self.text(margin, 1.2 * em, heading.title, size=1.25, weight="bold")
            self.text(margin, 2.55 * em, heading.session, size=0.9, colour="faint")
            at = self.height - 0.8 * em
            self.text(margin, at, heading.foot, size=0.7, colour="faint")
        if heading.invented:
            self.text(
                self.width - margin,
                (1.2 if self.layout.headed else 0.75) * em,
                INVENTED,
                size=1.0 if self.layout.headed else 0.9,
                weight="bold",
                colour="alarm",
                align="right",
            )

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = 1.0,
        weight: str = "normal",
        colour: str = "ink",
        align: str = "left",
    ) -> None:
        """Words at a place in inches, their middle at ``y``; ``size`` in ems."""
        self.figure.text(
            x / self.width,
            1 - y / self.height,
            printable(words),
            fontsize=size * self.layout.type_pt,
            fontweight=weight,
            color=LIGHT[colour],
            ha=align,
            va="center",
        )

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Axes in a box of inches, dressed."""
        ax = self.figure.add_axes(
            (
                left / self.width,
                1 - (top + height) / self.height,
                width / self.width,
                height / self.height,
            )
        )
        ax.set_facecolor(LIGHT["ground"])
        for spine in ax.spines.values():
            spine.set_color(LIGHT["faint"])
            spine.set_linewidth(0.06 * self.layout.type_pt)
        ax.tick_params(
            colors=LIGHT["faint"],
            labelcolor=LIGHT["ink"],
            labelsize=0.9 * self.layout.type_pt,
            width=0.06 * self.layout.type_pt,
            length=0.35 * self.layout.type_pt,
            pad=0.3 * self.layout.type_pt,
        )
        return ax

    def label(self, ax: Axes, *, x: str = "", y: str = "") -> None:
        """Names of the axes, with their units."""
        size = 0.95 * self.layout.type_pt
        ax.set_xlabel(x, fontsize=size, color=LIGHT["ink"], labelpad=0.25 * size)
        ax.set_ylabel(y, fontsize=size, color=LIGHT["ink"], labelpad=0.35 * size)

    @cached_property
    def overlay(self) -> Overlay:
        """What lines and boxes are put on that belong to no axes."""
        return Overlay(self.figure)

    def save_png(self, path: Path, dpi: int) -> None:
        """Save as pixels."""
        with style():
            save_pixels(self.figure, path, dpi)

    def svg(self) -> str:
        """As an SVG document that stands alone."""
        buffer = io.StringIO()
        with style():
            self.figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
        text = buffer.getvalue().replace("'DejaVu Sans', sans-serif", _FONTS)
        # A hundredth of a point is finer than any printer; matplotlib writes six digits.
        return _COORDINATES.sub(_shortened, text)


@contextmanager
def style() -> Iterator[None]:
    """The settings that figures are drawn and saved with."""
    with rc_context(
        {
            "svg.fonttype": "none",  # text stays text: it can be read aloud and found
            "svg.hashsalt": "sidebeat",  # the same figure twice is the same file twice
            "font.family": "sans-serif",
            "font.sans-serif": ["DejaVu Sans"],
            "hatch.linewidth": 0.8,
            "text.parse_math": False,  # a label with two $ is a label
        }
    ):
        yield


def save_pixels(figure: Figure, path: Path, dpi: int) -> None:
    """Save a figure with a ground of its own as an opaque PNG.

    Without the alpha that is full everywhere, and at level 2 instead of the default 6, writing it
    takes a fifth of the time and hardly more of the disk.
    """
    pixels = io.BytesIO()
    figure.savefig(pixels, dpi=dpi, format="rgba")
    wide = int(figure.get_figwidth() * dpi)
    size = (wide, pixels.tell() // (4 * wide))
    picture = Image.frombytes("RGB", size, pixels.getvalue(), "raw", "RGBX")
    picture.save(path, format="PNG", dpi=(dpi, dpi), compress_level=2)


def inline(svg: str, name: str, title: str, description: str) -> str:
    """An SVG made fit to stand in a page: named for screen readers, coloured by the page.

    ``name``: makes its ids unique in the page.  Colours become ``var(--…)`` of the palette.
    """
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>\s*", "", body, flags=re.DOTALL)
    body = re.sub(r'\b(id|clip-path)="(url\(#|#)?([^")]+)', rf'\1="\2{name}-\3', body)
    body = re.sub(r'\bxlink:href="#', f'xlink:href="#{name}-', body)
    body = re.sub(r"url\(#(?!" + name + "-)", f"url(#{name}-", body)
    body = body.replace("xlink:href=", "href=")
    short = iter(compact_all(_COORDINATES.findall(body)))
    body = _COORDINATES.sub(lambda _: f' d="{next(short)}"', body)
    for colour, value in LIGHT.items():
        body = body.replace(value, f"var(--{colour})")
    view = re.search(r'viewBox="([^"]+)"', body)
    start = body.index(">") + 1
    head = (
        f'<svg id="{name}" role="img" aria-labelledby="{name}-title {name}-desc" '
        f'viewBox="{view.group(1) if view else ""}" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{name}-title">{_escaped(title)}</title>'
        f'<desc id="{name}-desc">{_escaped(description)}</desc>'
    )
    inside, end = body[start:].rsplit("</svg>", 1)
    return f"{head}{shared(inside, name)}</svg>{end}"


def _shortened(path: re.Match[str]) -> str:
    return _FINER.sub("", path.group())


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
