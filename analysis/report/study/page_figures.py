"""The figures of a study's page: drawn wide and narrow, each point a link to its session."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil
from typing import Final

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.report.figure_canvas import inline, style
from analysis.report.study.figures import (
    SESSION_LINK,
    plot_differences,
    plot_sessions,
)
from analysis.report.study.planes import plot_difference_plane, plot_plane
from analysis.report.study.shown import (
    differences_shown,
    has_pairs,
    is_worth_a_zoom,
    places_shown,
)
from analysis.report.study.study_view import StudyView
from analysis.report.words import started_text
from analysis.study.study import Activity

_WIDE_IN: Final = 9.0
_NARROW_IN: Final = 3.9
_BESIDE: Final = 3
"""Planes beside each other on a wide page."""
_LINK: Final = re.compile(rf'<a (?:xlink:)?href="{SESSION_LINK}(\d+)"(?: target="_blank")?>')

_Plot = Callable[[Figure, float], str]
"""Draws on a figure of this width in inches; returns what it shows, in words."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A figure in two widths, as markup of our own making."""

    wide: Markup
    narrow: Markup


@dataclass(frozen=True, slots=True)
class PageFigures:
    """``links``: where a point leads, by the path of its session's capture.  ``view``: what the
    figures show.
    """

    links: Mapping[str, str]
    view: StudyView

    def of(self, number: int, activity: Activity) -> dict[str, Drawn]:
        """The figures of an activity that there is something to draw for, by their names."""
        compared = len(differences_shown(activity, self.view))
        found = {"sessions": self._drawn(f"sessions-{number}", activity, self._sessions(activity))}
        if is_worth_a_zoom(activity) and places_shown(activity, self.view, zoom=True):
            plot = self._sessions(activity, zoom=True)
            found["zoom"] = self._drawn(f"zoom-{number}", activity, plot)
        if compared:
            plot = self._differences(activity, compared)
            found["differences"] = self._drawn(f"differences-{number}", activity, plot)
        if has_pairs(activity):
            found["planes"] = self._drawn(f"planes-{number}", activity, self._planes(activity))
        return found

    def _sessions(self, activity: Activity, *, zoom: bool = False) -> _Plot:
        lines = len(places_shown(activity, self.view, zoom=zoom))

        def plot(figure: Figure, inches: float) -> str:
            figure.set_size_inches(inches, 1.2 + 0.45 * lines)
            axes = plot_sessions(
                activity,
                figure.subplots(),
                highlight=self.view.highlighted,
                sensors=self.view.sensors,
                zoom=zoom,
            )
            return _plain(axes, inches)

        return plot

    def _drawn(self, name: str, activity: Activity, plot: _Plot) -> Drawn:
        drawn = []
        for width, inches in (("wide", _WIDE_IN), ("narrow", _NARROW_IN)):
            figure = Figure(layout="constrained")
            buffer = io.StringIO()
            with style():
                words = plot(figure, inches)
                figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
            title = f"{activity.name}: {name.split('-', maxsplit=1)[0]}"
            text = inline(buffer.getvalue(), f"{name}-{width}", title, words)
            drawn.append(Markup(self._linked(text, activity)))
        return Drawn(*drawn)

    def _linked(self, svg: str, activity: Activity) -> str:
        """The points' links led to where they go, with a name for each."""

        def link(found: re.Match[str]) -> str:
            row = activity.sessions[int(found[1])]
            day = (started_text(row.started_utc_ns) or "")[:10]
            name = html.escape(" ".join(filter(None, (day, row.wearer, row.path))))
            href = html.escape(self.links.get(row.path, ""), quote=True)
            return f'<a href="{href}" aria-label="{name}"><title>{name}</title>'

        return _LINK.sub(link, svg)

    def _differences(self, activity: Activity, lines: int) -> _Plot:
        def plot(figure: Figure, inches: float) -> str:
            figure.set_size_inches(inches, 1.2 + 0.45 * lines)
            axes = plot_differences(activity, figure.subplots(), sensors=self.view.sensors)
            return _plain(axes, inches)

        return plot

    def _planes(self, activity: Activity) -> _Plot:
        """Of each sensor its plane, and below it its differences."""
        names = [place.name for place in places_shown(activity, self.view)]

        def plot(figure: Figure, inches: float) -> str:
            beside = min(_BESIDE, len(names)) if inches >= _WIDE_IN else 1
            blocks = ceil(len(names) / beside)
            figure.set_size_inches(inches, blocks * 5.6 if beside > 1 else blocks * 6.4)
            axes = figure.subplots(2 * blocks, beside, squeeze=False)
            for ax in axes.flat:
                ax.set_visible(False)
            for place, name in enumerate(names):
                block, at = divmod(place, beside)
                upper, lower = axes[2 * block, at], axes[2 * block + 1, at]
                for ax in (upper, lower):
                    ax.set_visible(True)
                plot_plane(activity, name, upper, band=self.view.band)
                plot_difference_plane(activity, name, lower).set_title("", loc="left")
            return "Counts of seconds, sensor against reference and difference against mean."

        return plot


def _plain(axes: Axes, inches: float) -> str:
    """Without a title, and on a phone without what stands in brackets; returns the axis's name."""
    axes.set_title("")
    words: str = axes.get_xlabel()
    if inches < _WIDE_IN:
        axes.set_xlabel(words.split(" (", maxsplit=1)[0], loc="right")
    return words
