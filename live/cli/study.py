"""``sidebeat study``: the verdict over many sessions."""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import IO, TYPE_CHECKING, Final
from urllib.parse import quote

from live.cli.main import version
from live.cli.out_file import say_replaced, write_out, write_stream
from live.cli.output import json_text, say
from live.cli.report import need_packages
from live.cli.study_figures import (
    check_figures,
    check_labels,
    configure_figures,
    session_figures,
    view_of,
    write_figures,
)
from live.cli.study_window import VIEWS, Beside, show
from live.preflight import CLUSTER_PACKAGES
from replay.errors import SidebeatError
from replay.text import as_cell, grouped

if TYPE_CHECKING:
    from analysis.study.published import Published
    from analysis.study.reading import LeftOut
    from analysis.study.study import Study
    from analysis.study.study_plan import StudyPlan

_MOST_LEFT_OUT: Final = 50
"""Files that are named on the screen; a folder of others' databases may hold thousands."""
HELP: Final = (
    "Read all captures of one or more folders and say how closely each sensor follows the "
    "reference in each activity, which of them differ, what cannot be told apart and how many "
    "more sessions would settle it.  The session is the unit, never the second."
)
EXAMPLE: Final = """
sidebeat study captures
sidebeat study captures/2026 captures/2027 --sort within
sidebeat study captures --out reports/study.html --csv reports/tables
sidebeat study captures --out reports/study.html --pages reports/sessions --highlight Sorrel
sidebeat study captures --view window
sidebeat study captures --next
sidebeat study captures --plan study.toml
sidebeat study years.csv --captures captures
sidebeat study captures --scheduler tcp://192.0.2.10:8786
sidebeat study captures --json
"""
SORTS: Final = ("mae", "mape", "within", "within-5", "r", "ccc", "delay", "efforts", "coverage")
POOLS: Final = ("tolerance", "reference", "imported", "unclean")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "folders", type=Path, nargs="+", metavar="FOLDER",
        help="folders with captures, read with the folders in them; single captures; or a manifest "
        "(CSV, TOML) of activity files",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--view", choices=VIEWS, default=VIEWS[0],
        help="where to show it: the terminal (default), or a window with its pictures, from which "
        "each session is replayed",
    )  # fmt: skip
    parser.add_argument(
        "--sort", choices=SORTS, default="mae", help="what to order the sensors by (default: mae)"
    )
    parser.add_argument(
        "--pool", action="append", choices=POOLS, default=[],
        help="pool sessions although they differ in this; may be given several times",
    )  # fmt: skip
    parser.add_argument(
        "--control", metavar="LABEL",
        help="a sensor worn in every session: what is compared on different sessions is given "
        "relative to it as well",
    )  # fmt: skip
    parser.add_argument(
        "--plan", type=Path, metavar="PLAN.toml",
        help="the plan of the study, dated before its first session: shows which cells are done",
    )  # fmt: skip
    parser.add_argument(
        "--next", action="store_true",
        help="print only who should wear what where in the next session of each activity",
    )  # fmt: skip
    parser.add_argument(
        "--out", type=Path, metavar="PATH.html", help="also write it as one HTML page"
    )
    parser.add_argument(
        "--pages", type=Path, metavar="DIR",
        help="with --out: the report page of each session in this folder, written where it is not "
        "there; points of the study's page lead to them",
    )  # fmt: skip
    parser.add_argument(
        "--figures", type=Path, metavar="DIR",
        help="also write its figures into this folder, for video and print",
    )  # fmt: skip
    parser.add_argument(
        "--published", type=Path, metavar="FILE",
        help="figures that were published without data (CSV, TOML): shown apart, never ranked",
    )  # fmt: skip
    parser.add_argument(
        "--csv", type=Path, metavar="DIR", help="also write every table as CSV into this folder"
    )
    parser.add_argument(
        "--jobs", type=number, metavar="N", help="processes that read (default: one per core)"
    )
    parser.add_argument(
        "--captures", type=Path, metavar="DIR",
        help="folder for the captures made of a manifest's files (default: beside it, in "
        "NAME_captures)",
    )  # fmt: skip
    parser.add_argument(
        "--scheduler", metavar="tcp://HOST:PORT",
        help="address of a Dask cluster that computes instead of this machine (extra cluster)",
    )  # fmt: skip
    configure_figures(parser)


def number(text: str) -> int:
    """A number of processes, from the command line."""
    count = int(text)
    if count < 1:
        raise ValueError
    return count


def run(arguments: argparse.Namespace) -> int:
    """Carry the command out; returns the exit status."""
    _check_options(arguments)
    plan = None if arguments.plan is None else _plan(arguments.plan)
    published = _published(arguments.published)
    places, left_out = _places(arguments)
    if arguments.view == "window":
        status = show(arguments, places, left_out, Beside(plan, published))
        if status is not None:
            return status
    study = read(
        places,
        arguments.pool,
        arguments.sort,
        arguments.jobs,
        arguments.control or "",
        scheduler=arguments.scheduler or "",
    )
    study = replace(study, left_out=(*left_out, *study.left_out))
    for file in study.left_out[:_MOST_LEFT_OUT]:
        say(f"sidebeat: left out: {file.reason}", file=sys.stderr)
    more = len(study.left_out) - _MOST_LEFT_OUT
    if more > 0:
        say(f"sidebeat: left out: {grouped(more)} more files", file=sys.stderr)
    if study.passed_over:
        say(f"sidebeat: {passed_over(study.passed_over)}", file=sys.stderr)
    if not study.rows:
        where = ", ".join(map(str, arguments.folders))
        raise SidebeatError(f"{where}: no session could be read")
    check_labels(study, arguments)
    written = list(_written(study, arguments, plan, published))
    if arguments.json:
        from analysis.report.study.facts import (  # noqa: PLC0415 - only for scripts
            published_facts,
            study_facts,
        )

        facts = study_facts(study) | {"published": published_facts(published)}
        print(json_text(facts if plan is None else facts | {"plan": _facts(plan, study)}), end="")
    elif arguments.next:
        _print_next(study)
    else:
        print_study(study, plan, published)
        for line in written:
            say(f"\n{line}")
    return 0


def _places(arguments: argparse.Namespace) -> tuple[list[Path], list[LeftOut]]:
    """Where the captures lie, those of manifests made first; and what could not be made."""
    from analysis.study.manifest import ManifestError  # noqa: PLC0415 - when it runs
    from live.cli.study_import import import_listed, is_manifest  # noqa: PLC0415 - when it runs

    places: list[Path] = []
    left_out: list[LeftOut] = []
    for place in arguments.folders:
        if not is_manifest(place):
            places.append(place)
            continue
        try:
            with _progress("importing sessions") as told:
                found = import_listed(place, arguments.captures, workers=arguments.jobs, told=told)
        except ManifestError as error:
            for problem in error.problems[1:]:
                say(f"sidebeat: {error.path}: {problem}", file=sys.stderr)
            raise
        places += found.captures
        left_out += found.left_out
    return places, left_out


def passed_over(files: Sequence[str]) -> str:
    """One sentence about all files that do not claim to be captures."""
    kinds = Counter(Path(file).suffix.lower() or "no ending" for file in files)
    named = ", ".join(f"{kind} {count}" for kind, count in sorted(kinds.items()))
    what = "1 other file was" if len(files) == 1 else f"{len(files)} other files were"
    return f"{what} passed over, being no captures by ending or content ({named})"


def _check_options(arguments: argparse.Namespace) -> None:
    """What can be refused before anything is read."""
    if arguments.out is not None:
        if arguments.out.suffix.lower() != ".html":
            raise SidebeatError(f"{arguments.out}: the page must end in .html")
        need_packages()
    if arguments.figures is not None:
        need_packages()
    if arguments.scheduler is not None:
        need_packages(CLUSTER_PACKAGES, "cluster", "a cluster")
    if arguments.pages is not None and arguments.out is None:
        raise SidebeatError("--pages is of the page, which --out writes")
    check_figures(arguments)


def _published(path: Path | None) -> tuple[Published, ...]:
    from analysis.study.published import load_published  # noqa: PLC0415 - only when it runs

    return () if path is None else load_published(path)


def _written(
    study: Study,
    arguments: argparse.Namespace,
    plan: StudyPlan | None,
    published: tuple[Published, ...],
) -> Iterator[str]:
    """Write the files that were asked for; a line about each."""
    if arguments.csv is not None:
        _write_csv(study, arguments.csv)
        yield f"Tables in {arguments.csv}"
    if arguments.out is not None:
        from analysis.report.study.page import study_page  # noqa: PLC0415 - only when asked for

        pages = _pages(study, arguments)
        text = study_page(
            study,
            f"Sidebeat {version()}",
            view=view_of(arguments),
            published=published,
            pages=pages,
            plan=plan,
        )
        if write_out(arguments.out, text):
            say_replaced(str(arguments.out))
        yield f"Page: {arguments.out}"
        if pages:
            yield f"Pages of the sessions, {len(pages)} in all, in {arguments.pages}"
    if arguments.figures is not None:
        yield f"Figures: {write_figures(study, arguments)} files in {arguments.figures}"


def _plan(path: Path) -> StudyPlan:
    from analysis.study.study_plan import load_study_plan  # noqa: PLC0415 - only when it is given

    return load_study_plan(path)


def _facts(plan: StudyPlan, study: Study) -> dict[str, object]:
    from analysis.report.study.plan_words import plan_facts  # noqa: PLC0415 - as above

    return plan_facts(plan, study)


def print_study(
    study: Study, plan: StudyPlan | None = None, published: Sequence[Published] = ()
) -> None:
    """Print all that a study says, what became of its plan, and apart what was published."""
    from live.cli.study_tables import study_parts  # noqa: PLC0415 - only for people
    from live.views.terminal.console import PlainConsole  # noqa: PLC0415

    console = PlainConsole()
    for part in study_parts(study, console.width, plan, published):
        console.print(part)


def _pages(study: Study, arguments: argparse.Namespace) -> dict[str, str]:
    """Where the sessions' pages lie, seen from the study's, by the captures' paths."""
    if arguments.pages is None:
        return {}
    from live.cli.study_pages import session_pages  # noqa: PLC0415 - only when asked for

    with _progress("writing pages") as told:
        pages = session_pages(
            study,
            arguments.pages,
            workers=arguments.jobs,
            told=told,
            figures=session_figures(arguments),
        )
    return {path: link_from(arguments.out, page) for path, page in pages.items()}


def link_from(page: Path, to: Path) -> str:
    """A link to a file from a page, as it stands in HTML."""
    relative = os.path.relpath(to.resolve(), page.resolve().parent)
    return quote(Path(relative).as_posix())


def _write_csv(study: Study, folder: Path) -> None:
    """One file for each table that has rows.  Raises :class:`SidebeatError`."""
    import csv  # noqa: PLC0415 - only when it is asked for

    from analysis.report.study.tables import study_rows  # noqa: PLC0415 - as above

    def write(stream: IO[str], rows: Sequence[Mapping[str, object]]) -> None:
        writer = csv.DictWriter(stream, list(dict.fromkeys(key for row in rows for key in row)))
        writer.writeheader()
        for row in rows:
            writer.writerow({k: as_cell(v) if isinstance(v, str) else v for k, v in row.items()})

    replaced = [
        name
        for name, rows in study_rows(study).items()
        if rows and write_stream(folder / f"{name}.csv", partial(write, rows=rows))
    ]
    if replaced:
        say_replaced(f"{', '.join(replaced)} in {folder}")


def _print_next(study: Study) -> None:
    from analysis.report.study.placement_words import line_text  # noqa: PLC0415 - as above

    for one in study.activities:
        line = line_text(one.plan[0]) if one.plan else "no sensor and arm are left to be separated"
        say(f"{one.name}: {line}")


def read(
    folders: list[Path],
    pool: list[str],
    sort: str,
    jobs: int | None,
    control: str = "",
    *,
    scheduler: str = "",
) -> Study:
    """Read a study, with progress where stderr is a terminal."""
    from analysis.study import read_study  # noqa: PLC0415 - only when it runs

    done, total = 0, 0
    try:
        with _progress("reading sessions") as shown:

            def told(read: int, of: int) -> None:
                nonlocal done, total
                done, total = read, of
                shown(read, of)

            return read_study(
                *folders, pool=pool, sort=sort, control=control, workers=jobs,
                scheduler=scheduler, told=told,
            )  # fmt: skip
    except KeyboardInterrupt:
        say(
            f"sidebeat: interrupted after {done} of {total or 'all'} files; what was read is "
            "kept, and the next run takes it up",
            file=sys.stderr,
        )
        raise


@contextmanager
def _progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """A bar with the time left where stderr is a terminal; to be told how many of how many."""
    from rich.progress import (  # noqa: PLC0415 - only when it runs
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    from live.views.terminal.console import PlainConsole  # noqa: PLC0415 - as above

    with Progress(
        TextColumn(what), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
        console=PlainConsole(stderr=True), transient=True, disable=not sys.stderr.isatty(),
    ) as progress:  # fmt: skip
        task = progress.add_task("", total=None)
        yield lambda read, of: progress.update(task, completed=read, total=of)
