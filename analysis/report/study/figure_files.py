"""The figures of a study as files, for video and for print.

For video they are drawn on half the sheet with twice the dots, so that points, lines and type are
large enough to be seen from a sofa.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine

from analysis.report.figure_canvas import save_pixels, style
from analysis.report.palette import LIGHT
from analysis.report.study.figures import plot_differences, plot_sessions
from analysis.report.study.planes import plot_difference_plane, plot_plane
from analysis.report.study.shown import (
    differences_shown,
    has_pairs,
    is_worth_a_zoom,
    places_shown,
)
from analysis.report.study.study_view import ALL, StudyView
from analysis.report.study.texts import sessions_text
from analysis.report.words import INVENTED
from analysis.study.study import Activity, Study
from replay.errors import SidebeatError

Draw = Callable[[Figure], None]


@dataclass(frozen=True, slots=True)
class Sheet:
    """``inches``: width and height, a height of 0 for what the figure needs.  ``dots``: of each
    inch, by the size in the file's name.
    """

    name: str
    inches: tuple[float, float]
    dots: dict[str, int]


SHEETS: Final = (
    Sheet("video", (9.6, 5.4), {"1920x1080": 200, "3840x2160": 400}),
    Sheet("print", (9.0, 0.0), {"print": 300}),
)


@dataclass(frozen=True, slots=True)
class _Kind:
    """One figure: its ``name`` in the file's, how high it is on paper, and what draws it."""

    name: str
    high_in: float
    draw: Draw


def save_study_figures(
    study: Study, folder: Path, software: str, view: StudyView = ALL
) -> Iterator[Path]:
    """Save every figure as PNG and SVG; gives each path when its file is there.

    One figure tells one thing: the sensors in order, each two against each other, and of each
    sensor its planes, all on the same axes.  Raises :class:`SidebeatError` if a file cannot be
    written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for activity in study.activities:
            stem = re.sub(r"\W+", "-", activity.name.casefold()).strip("-") or "activity"
            for kind in _kinds(activity, view):
                for sheet in SHEETS:
                    yield from _save(kind, sheet, folder / f"{stem}_{kind.name}", software)
    except OSError as error:
        where = error.filename or folder
        raise SidebeatError(f"{where}: cannot be written: {error.strerror}") from None


def _room() -> ConstrainedLayoutEngine:
    """A margin around everything, in inches."""
    return ConstrainedLayoutEngine(w_pad=0.1, h_pad=0.1)


def _save(kind: _Kind, sheet: Sheet, stem: Path, software: str) -> Iterator[Path]:
    wide, high = sheet.inches
    with style():
        figure = Figure((wide, high or kind.high_in), layout=_room())
        figure.set_facecolor(LIGHT["ground"])
        kind.draw(figure)
        foot = figure.supxlabel(software, x=0.995, ha="right", fontsize=6, color=LIGHT["faint"])
        foot.set_parse_math(False)
        for size, dots in sheet.dots.items():
            path = stem.with_name(f"{stem.name}_{size}.png")
            save_pixels(figure, path, dots)
            figure.set_layout_engine(None)  # laid out once: every size shows the same picture
            yield path
        path = stem.with_name(f"{stem.name}_{sheet.name}.svg")
        figure.savefig(path, format="svg", metadata={"Date": None, "Creator": None})
        yield path


def _kinds(activity: Activity, view: StudyView) -> Iterator[_Kind]:
    labels = {"highlight": view.highlighted, "sensors": view.sensors}
    places = places_shown(activity, view)
    if not places:
        return

    def sessions(figure: Figure, *, zoom: bool = False) -> None:
        plot_sessions(activity, figure.subplots(), zoom=zoom, **labels)

    yield _Kind("sessions", 1.4 + 0.5 * len(places), sessions)
    better = places_shown(activity, view, zoom=True)
    if better and is_worth_a_zoom(activity):
        yield _Kind("zoom", 1.4 + 0.5 * len(better), lambda figure: sessions(figure, zoom=True))
    if compared := differences_shown(activity, view):

        def differences(figure: Figure) -> None:
            plot_differences(activity, figure.subplots(), sensors=view.sensors)

        yield _Kind("differences", 1.4 + 0.5 * len(compared), differences)
    if has_pairs(activity):
        for place in places:
            stem = re.sub(r"\W+", "-", place.name.casefold()).strip("-")
            yield _Kind(f"pairs_{stem}", 4.9, _planes(activity, place.name, view))


def _planes(activity: Activity, name: str, view: StudyView) -> Draw:
    """Both planes of one sensor beside each other."""

    def draw(figure: Figure) -> None:
        left, right = figure.subplots(1, 2, width_ratios=(1, 1.15))
        plot_plane(activity, name, left, band=view.band)
        plot_difference_plane(activity, name, right).set_title("", loc="left")
        mark = f" ({INVENTED})" if any(row.invented for row in activity.sessions) else ""
        head = figure.suptitle(
            f"{activity.name}: {sessions_text(activity.sensor(name).every.sessions)}{mark}",
            fontsize=11,
            color=LIGHT["ink"],
        )
        head.set_parse_math(False)

    return draw
