"""The figures of a session: each drawn for the page, for a phone, for print and for video."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from analysis.efforts import Kind
from analysis.verdict import quoted
from live.report.pipeline import SessionNumbers
from live.report.planes import draw_agreement, draw_differences
from live.report.sheet import (
    PAGE,
    PHONE,
    PRINT,
    PRINT_DPI,
    VIDEO,
    VIDEO_DPI,
    Heading,
    Layout,
    Sheet,
    inline,
)
from live.report.strips import draw_strips
from live.report.traces import draw_traces
from live.report.words import clock, count, duration, interval, listed, number
from replay.errors import SidebeatError

Draw = Callable[[SessionNumbers, Layout, Heading], Sheet]


@dataclass(frozen=True, slots=True)
class Kindred:
    """One kind of figure: the name of its files, its title, how it is drawn and put in words."""

    name: str
    title: str
    draw: Draw
    words: Callable[[SessionNumbers], str]


@dataclass(frozen=True, slots=True)
class InPage:
    """One figure as it stands in the page: for wide and for narrow screens."""

    name: str
    title: str
    wide: str
    narrow: str


def figures_in_page(numbers: SessionNumbers, session: str) -> Iterator[InPage]:
    """Every figure as SVG that takes its colours from the page.  ``session``: who, what, when."""
    for kind in FIGURES:
        heading = Heading(kind.title, session, "", numbers.result.plan.invented)
        drawn = {
            layout.name: inline(
                kind.draw(numbers, layout, heading).svg(),
                f"{kind.name}-{layout.name}",
                kind.title,
                kind.words(numbers),
            )
            for layout in (PAGE, PHONE)
        }
        yield InPage(kind.name, kind.title, drawn[PAGE.name], drawn[PHONE.name])


def save_figures(
    numbers: SessionNumbers, folder: Path, stem: str, session: str, foot: str
) -> Iterator[Path]:
    """Save every figure as PNG and SVG for video and print, and give each path when it is there.

    ``stem``: beginning of the files' names.  ``foot``: where the figure comes from, in small
    print.  Raises :class:`SidebeatError` if a file cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for kind in FIGURES:
            heading = Heading(kind.title, session, foot, numbers.result.plan.invented)
            base = folder / f"{stem}_{kind.name}"
            sheet = kind.draw(numbers, VIDEO, heading)
            for size, dpi in VIDEO_DPI.items():
                path = base.with_name(f"{base.name}_{size}.png")
                sheet.save_png(path, dpi)
                yield path
            path = base.with_name(f"{base.name}_video.svg")
            path.write_text(sheet.svg(), encoding="utf-8")
            yield path
            sheet = kind.draw(numbers, PRINT, heading)
            path = base.with_name(f"{base.name}_print.png")
            sheet.save_png(path, PRINT_DPI)
            yield path
            path = base.with_name(f"{base.name}_print.svg")
            path.write_text(sheet.svg(), encoding="utf-8")
            yield path
    except OSError as error:
        raise SidebeatError(
            f"{error.filename or folder}: cannot be written: {error.strerror}"
        ) from None


def _of_traces(numbers: SessionNumbers) -> str:
    data, plan = numbers.data, numbers.result.plan
    tests = listed([plan.sensor(n).label for n in plan.tests])
    gaps = listed(
        [
            f"{one.sensor.label} {sum(gap.seconds for gap in one.gaps)} s"
            for one in data.sensors.values()
        ]
    )
    return (
        f"Heart rates of {plan.sensor(plan.reference).label} (reference, with its tolerance as a "
        f"band) and {tests} over {duration(data.seconds - 1)}, and their differences below. "
        f"Without a value: {gaps}. {len(numbers.warnings)} warnings, {len(data.markers)} markers; "
        f"{len(numbers.result.exclusions)} stretches are left out of the statistics."
    )


def _of_agreement(numbers: SessionNumbers) -> str:
    parts = []
    for one in numbers.result.sensors:
        found = quoted(one)
        share = number(found.within.value, 1)
        parts.append(
            f"{one.series.sensor.label}: {count(found.pairs)} pairs, {share} % inside tolerance"
        )
    return "Counts of pairs, sensor against reference. " + "; ".join(parts) + "."


def _of_differences(numbers: SessionNumbers) -> str:
    parts = []
    for one in numbers.result.sensors:
        found = quoted(one)
        ends = interval(found.bias.interval, 1, sign=True) or "no interval"
        low, high = (number(limit.value, 1, sign=True) for limit in (found.loa_low, found.loa_high))
        parts.append(
            f"{one.series.sensor.label}: bias {number(found.bias.value, 1, sign=True)} bpm "
            f"({ends}), limits of agreement {low} and {high} bpm"
        )
    return "Difference against mean of sensor and reference. " + "; ".join(parts) + "."


def _of_strips(numbers: SessionNumbers) -> str:
    efforts = numbers.detail.efforts
    if not efforts:
        return "No efforts were found."
    parts = []
    for one in numbers.detail.sensors:
        answers = [answer.value for answer in one.answers(efforts, Kind.EFFORT)]
        counts = [f"{answers.count(word)} {word}" for word in dict.fromkeys(answers)]
        parts.append(f"{one.series.sensor.label}: {listed(counts)}" if counts else "")
    peaks = [clock(effort.peak_s) for effort in efforts if effort.kind is Kind.EFFORT]
    return f"Efforts with peaks at {listed(peaks)}. " + "; ".join(filter(None, parts)) + "."


FIGURES: Final = (
    Kindred("traces", "Heart rates and what happened when", draw_traces, _of_traces),
    Kindred("agreement", "Sensor against reference", draw_agreement, _of_agreement),
    Kindred("differences", "Difference against mean", draw_differences, _of_differences),
    Kindred("efforts", "Every effort and trough", draw_strips, _of_strips),
)
