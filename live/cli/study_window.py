"""``sidebeat study --view window``: the study in a window, read while it is open."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from live.cli.study_figures import check_labels, view_of
from live.cli.views import chosen_view
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from collections.abc import Callable

    from analysis.study.published import Published
    from analysis.study.reading import LeftOut
    from analysis.study.study import Study
    from analysis.study.study_plan import StudyPlan

VIEWS: Final = ("terminal", "window")
_PRINTED: Final = ("json", "next", "out", "csv", "pages", "figures")
_OPTIONS: Final = ("pool", "control", "jobs", "captures", "scheduler", "plan", "published",
                   "sensor", "highlight")  # fmt: skip
"""Options with a value that the page, written from the window, is to have as well."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What a study is read beside."""

    plan: StudyPlan | None
    published: tuple[Published, ...]


def show(
    arguments: argparse.Namespace,
    places: Sequence[Path],
    left_out: Sequence[LeftOut],
    beside: Beside,
) -> int | None:
    """Show it until the window is closed; returns the exit status, ``None`` without a screen.

    ``left_out``: files of manifests of which no capture could be made.  Raises
    :class:`SidebeatError` if nothing could be read, or for options that are of what is printed and
    written.
    """
    for option in _PRINTED:
        if getattr(arguments, option):
            raise SidebeatError(f"--{option} is of what is printed and written: leave --view out")
    if chosen_view(arguments.view) != "window":
        return None
    from live.views.window.study.app import run_study  # noqa: PLC0415 - Qt, only where it is wanted
    from live.views.window.study.window import StudyRequest  # noqa: PLC0415 - as above
    from live.views.window.study.words import Beside as ReadBeside  # noqa: PLC0415 - as above

    problem = run_study(
        StudyRequest(
            read=_reader(arguments, places, left_out),
            sorted_by=_sorter(arguments),
            sorts=_sorts(),
            sort=arguments.sort,
            where=", ".join(map(str, arguments.folders)),
            page=page_command(arguments),
            page_file=_page_file(arguments.folders[0]),
            view=view_of(arguments),
            beside=ReadBeside(beside.plan, beside.published),
        )
    )
    if problem:
        raise SidebeatError(problem)
    return 0


def _reader(
    arguments: argparse.Namespace, places: Sequence[Path], left_out: Sequence[LeftOut]
) -> Callable[[Callable[[int, int], None]], Study]:
    def read(told: Callable[[int, int], None]) -> Study:
        from analysis.study import read_study  # noqa: PLC0415 - loads scipy

        study = read_study(
            *places,
            pool=arguments.pool,
            sort=arguments.sort,
            control=arguments.control or "",
            workers=arguments.jobs,
            scheduler=arguments.scheduler or "",
            told=told,
        )
        if study.rows:
            check_labels(study, arguments)
        return replace(study, left_out=(*left_out, *study.left_out))

    return read


def _sorter(arguments: argparse.Namespace) -> Callable[[Study, str], Study]:
    def sorted_by(study: Study, sort: str) -> Study:
        from analysis.study.selection import Pool  # noqa: PLC0415 - loaded by then
        from analysis.study.study import study_of  # noqa: PLC0415 - as above

        return study_of(
            study.rows,
            study.left_out,
            passed_over=study.passed_over,
            pool=frozenset(map(Pool, arguments.pool)),
            sort=sort,
            control=arguments.control or "",
        )

    return sorted_by


def _sorts() -> list[tuple[str, str]]:
    from analysis.study.statistic import SORTABLE  # noqa: PLC0415 - loads numpy

    return [(name, statistic.words) for name, statistic in SORTABLE.items()]


def page_command(arguments: argparse.Namespace) -> tuple[str, ...]:
    """The command line that writes the same study as a page, without the page's name."""
    words = ["study", *map(str, arguments.folders)]
    for option in _OPTIONS:
        value = getattr(arguments, option)
        for one in value if isinstance(value, list) else [value]:
            words += [] if one is None else [f"--{option}", str(one)]
    return (*words, *(["--hide-band"] if arguments.hide_band else []))


def _page_file(place: Path) -> Path:
    """Beside the captures, or beside a single one or a manifest."""
    return (place if place.is_dir() else place.parent) / "study.html"
