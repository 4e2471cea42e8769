"""The figures of a session: each drawn for the page, for a phone, for print and for video."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from analysis.processes import pool_of_processes
from analysis.report.agreement_plots import draw_agreement, draw_differences
from analysis.report.effort_panels import draw_effort_panels
from analysis.report.figure_canvas import (
    PAGE,
    PHONE,
    PRINT,
    PRINT_DPI,
    VIDEO,
    VIDEO_DPI,
    FigureCanvas,
    Heading,
    Layout,
    inline,
    style,
)
from analysis.report.figure_view import WHOLE, FigureView
from analysis.report.traces import draw_traces
from analysis.report.words import NONE, clock, count, duration, ends, listed, number, share_text
from analysis.session.pipeline import Session
from analysis.statistics.efforts import Kind
from replay.errors import SidebeatError

Draw = Callable[[Session, Layout, Heading, FigureView], FigureCanvas]


@dataclass(frozen=True, slots=True)
class FigureKind:
    """One kind of figure: the name of its files, its title, how it is drawn and put in words.

    ``timed``: whether it shows the stretch of the session that is asked for.
    """

    name: str
    title: str
    draw: Draw
    words: Callable[[Session], str]
    timed: bool = False


@dataclass(frozen=True, slots=True)
class InPage:
    """One figure as it stands in the page: for wide and for narrow screens."""

    name: str
    title: str
    wide: str
    narrow: str


@dataclass(frozen=True, slots=True)
class FigureFiles:
    """Where the files of the figures go, and what stands on them.

    ``stem``: beginning of the files' names.  ``who``: who, what, when.  ``foot``: where the
    figures come from, in small print.  ``view``: what they show.
    """

    folder: Path
    stem: str
    who: str
    foot: str
    view: FigureView = WHOLE


def figures_in_page(session: Session, who: str, view: FigureView = WHOLE) -> Iterator[InPage]:
    """Every figure as SVG that takes its colours from the page.  ``who``: who, what, when."""
    for kind in figures_of(session):
        heading = Heading(kind.title, who, "", session.record.plan.invented)
        drawn = {
            layout.name: inline(
                _drawn(kind, session, layout, heading, view).svg(),
                f"{kind.name}-{layout.name}",
                kind.title,
                _words(kind, session, view),
            )
            for layout in (PAGE, PHONE)
        }
        yield InPage(kind.name, kind.title, drawn[PAGE.name], drawn[PHONE.name])


@contextmanager
def saving_figures(session: Session, files: FigureFiles) -> Iterator[Callable[[], Iterator[Path]]]:
    """Save every figure as PNG and SVG for video and print, on two processor cores.

    Those for video are begun at once in a process beside this one, so that the page can be made
    meanwhile.  What the context gives is called to save those for print, and gives each path
    when its file is there.  Raises :class:`SidebeatError` if a file cannot be written.
    """
    try:
        files.folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SidebeatError(f"{files.folder}: cannot be written: {error.strerror}") from None
    with pool_of_processes(1) as beside:
        video = beside.submit(_save_all, VIDEO, session, files)

        def rest() -> Iterator[Path]:
            yield from _save_all(PRINT, session, files)
            try:
                yield from video.result()
            except BrokenProcessPool:
                # Where no process can be started, it takes longer.
                yield from _save_all(VIDEO, session, files)

        yield rest


def save_figures(session: Session, files: FigureFiles) -> list[Path]:
    """:func:`saving_figures` when there is nothing to do meanwhile; returns all paths."""
    with saving_figures(session, files) as rest:
        return list(rest())


def _save_all(layout: Layout, session: Session, files: FigureFiles) -> list[Path]:
    paths = []
    try:
        for kind in figures_of(session):
            heading = Heading(kind.title, files.who, files.foot, session.record.plan.invented)
            canvas = _drawn(kind, session, layout, heading, files.view)
            sizes = VIDEO_DPI if layout == VIDEO else {layout.name: PRINT_DPI}
            for size, dpi in sizes.items():
                paths.append(files.folder / f"{files.stem}_{kind.name}_{size}.png")
                canvas.save_png(paths[-1], dpi)
            paths.append(files.folder / f"{files.stem}_{kind.name}_{layout.name}.svg")
            paths[-1].write_text(canvas.svg(), encoding="utf-8")
    except OSError as error:
        where = error.filename or files.folder
        raise SidebeatError(f"{where}: cannot be written: {error.strerror}") from None
    return paths


def _drawn(
    kind: FigureKind, session: Session, layout: Layout, heading: Heading, view: FigureView
) -> FigureCanvas:
    said = view.words(session.record, timed=kind.timed)
    heading = replace(heading, session=", ".join(filter(None, (heading.session, said))))
    with style():
        return kind.draw(session, layout, heading, view)


def _words(kind: FigureKind, session: Session, view: FigureView) -> str:
    """The figure in words; the numbers in them are of the whole session."""
    said = view.words(session.record, timed=kind.timed)
    return kind.words(session) + (f" Shown: {said}." if said else "")


def _of_traces(session: Session) -> str:
    data, plan = session.data, session.record.plan
    tests = listed([plan.sensor(n).label for n in plan.tests]) or "no test sensor"
    gaps = listed(
        [
            f"{one.sensor.label} {sum(gap.seconds for gap in one.gaps)} s"
            for one in data.sensors.values()
        ]
    )
    return (
        f"Heart rates of {plan.sensor(plan.reference).label} (reference, with its tolerance as a "
        f"band) and {tests} over {duration(data.seconds - 1)}, and their differences below. "
        f"Without a value: {gaps}. {len(session.record.warnings)} warnings, "
        f"{len(data.markers)} markers; "
        f"{len(session.record.exclusions)} stretches are left out of the statistics."
    )


def _of_agreement(session: Session) -> str:
    parts = []
    for one in session.record.sensors:
        found = one.counted
        within = found.within.value
        share = NONE if within is None else share_text(within, 1)
        parts.append(f"{one.label}: {count(found.pairs)} pairs, {share} % inside tolerance")
    return "Counts of pairs, sensor against reference. " + "; ".join(parts) + "."


def _of_differences(session: Session) -> str:
    parts = []
    for one in session.record.sensors:
        found = one.counted
        inside = ends(found.bias, 1, sign=True) or "no interval"
        low, high = (number(limit.value, 1, sign=True) for limit in (found.loa_low, found.loa_high))
        parts.append(
            f"{one.label}: bias {number(found.bias.value, 1, sign=True)} bpm "
            f"({inside}), limits of agreement {low} and {high} bpm"
        )
    return "Difference against mean of sensor and reference. " + "; ".join(parts) + "."


def _of_efforts(session: Session) -> str:
    efforts = session.record.efforts
    if not efforts:
        return "No efforts were found."
    parts = []
    for one in session.record.sensors:
        answers = [
            response.answer.value
            for effort, response in zip(efforts, one.responses, strict=True)
            if effort.kind is Kind.EFFORT
        ]
        counts = [f"{answers.count(word)} {word}" for word in dict.fromkeys(answers)]
        parts.append(f"{one.label}: {listed(counts)}" if counts else "")
    peaks = [clock(effort.peak_s) for effort in efforts if effort.kind is Kind.EFFORT]
    where = f"Efforts with peaks at {listed(peaks)}. " if peaks else "Troughs alone. "
    return where + "; ".join(filter(None, parts)) + "."


FIGURES: Final = (
    FigureKind("traces", "Heart rates and what happened when", draw_traces, _of_traces, timed=True),
    FigureKind("agreement", "Sensor against reference", draw_agreement, _of_agreement),
    FigureKind("differences", "Difference against mean", draw_differences, _of_differences),
    FigureKind("efforts", "Every effort and trough", draw_effort_panels, _of_efforts, timed=True),
)


def figures_of(session: Session) -> tuple[FigureKind, ...]:
    """All kinds of figures; of a session without a test sensor the traces alone."""
    return FIGURES if session.record.sensors else FIGURES[:1]
