"""A study as one HTML page that needs nothing beside it."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.report.figure_canvas import inline, style
from analysis.report.page import environment
from analysis.report.palette import DARK, LIGHT, css_variables
from analysis.report.study.comparison_words import claim_sentence
from analysis.report.study.figures import differences_shown, plot_differences, plot_sessions
from analysis.report.study.methods import REFERENCES, methods_paragraph
from analysis.report.study.texts import value_text
from analysis.report.study.words import Verdict, verdict_of
from analysis.report.words import INVENTED_LONG, NONE, started_text
from analysis.statistics.estimate import Estimate
from analysis.study.sensors import Means, SensorResult
from analysis.study.statistic import (
    BIAS,
    CONCORDANCE,
    COVERAGE,
    DELAY,
    MAE,
    MAPE,
    PEARSON,
    WITHIN,
    WITHIN_5,
    Statistic,
)
from analysis.study.study import Activity, Study

_DIGITS: tuple[tuple[Statistic, int], ...] = (
    (MAE, 1), (MAPE, 1), (BIAS, 1), (WITHIN, 0), (WITHIN_5, 0), (PEARSON, 2), (CONCORDANCE, 2),
    (DELAY, 1), (COVERAGE, 0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A figure in two widths, as markup of our own making."""

    wide: Markup
    narrow: Markup


@dataclass(frozen=True, slots=True)
class _Part:
    """What the page shows of one activity."""

    name: str
    verdict: Verdict
    claims: list[str]
    others: list[str]
    sessions: _Drawn
    differences: _Drawn | None
    columns: list[str]
    rows: list[list[str]]
    places: list[str]
    worn: list[list[str]]


def study_page(study: Study, software: str) -> str:
    """HTML of a study.  ``software``: that makes it, name and version."""
    counted = {row.path for one in study.activities for row in one.sessions}
    rows = sorted(study.rows, key=lambda row: (row.started_utc_ns, row.path))
    return (
        environment()
        .get_template("study.html")
        .render(
            study=study,
            parts=[_part(number, one) for number, one in enumerate(study.activities)],
            sessions=[
                [
                    row.path, (started_text(row.started_utc_ns) or NONE)[:16].replace("T", " "),
                    row.wearer, row.activity, "yes" if row.path in counted else "no",
                ]
                for row in rows
            ],
            apart=[[one.path, one.sensor or "the session", one.reason] for one in study.apart],
            methods=methods_paragraph(study, software),
            references=REFERENCES,
            software=software,
            invented=INVENTED_LONG,
            light=Markup(css_variables(LIGHT)),
            dark=Markup(css_variables(DARK)),
        )
    )  # fmt: skip


def _part(number: int, one: Activity) -> _Part:
    verdict = verdict_of(one)
    claims = [said for each in one.comparisons if (said := claim_sentence(each)) is not None]
    places = list(dict.fromkeys(place for worn in one.worn for place, _ in worn.places))
    compared = len(differences_shown(one))
    return _Part(
        name=one.name,
        verdict=verdict,
        claims=claims,
        others=[said for said in (*verdict.comparisons, *verdict.order) if said not in claims],
        sessions=_drawn(f"sessions-{number}", one, plot_sessions, len(one.sensors)),
        differences=(
            _drawn(f"differences-{number}", one, plot_differences, compared) if compared else None
        ),
        columns=["sensor", "sessions", "lost the heart in", *map(_head, _DIGITS), "limits, bpm"],
        rows=[row for place in one.ranking.places for row in _rows(one.sensor(place.name))],
        places=["sensor", *places],
        worn=[
            [worn.name, *(str(dict(worn.places).get(place, "")) for place in places)]
            for worn in one.worn
        ],
    )


def _head(shown: tuple[Statistic, int]) -> str:
    statistic, _ = shown
    return f"{statistic.words}, {statistic.unit}" if statistic.unit else statistic.words


def _rows(result: SensorResult) -> list[list[str]]:
    rows = [[result.name, *_cells(result.every, str(result.failures.count))]]
    if result.without_failures is not None and result.without_failures.sessions:
        rows.append([f"{result.name}, where it did not", *_cells(result.without_failures, "")])
    return rows


def _cells(means: Means, lost: str) -> list[str]:
    return [
        str(means.sessions), lost,
        *(
            _cell(means.of(statistic), digits, signed=statistic is BIAS)
            for statistic, digits in _DIGITS
        ),
        f"{_cell(means.loa_low, 1, signed=True)} to {_cell(means.loa_high, 1, signed=True)}"
        if means.loa_low.value is not None else NONE,
    ]  # fmt: skip


def _cell(estimate: Estimate, digits: int, *, signed: bool = False) -> str:
    return NONE if estimate.value is None else value_text(estimate, digits, signed=signed)


def _drawn(name: str, one: Activity, plot: Callable[[Activity, Axes], Axes], lines: int) -> _Drawn:
    """The figure of a plot with so many lines, in both widths."""
    widths: Sequence[tuple[str, float]] = (("wide", 9.0), ("narrow", 3.9))
    drawn = []
    for width, inches in widths:
        figure = Figure(figsize=(inches, 1.2 + 0.45 * lines), layout="constrained")
        buffer = io.StringIO()
        with style():
            axes = plot(one, figure.subplots())
            axes.set_title("")
            if width == "narrow":
                axes.set_xlabel(axes.get_xlabel().split(" (")[0])
            figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
        title = f"{one.name}: {name.split('-', maxsplit=1)[0]}"
        text = inline(buffer.getvalue(), f"{name}-{width}", title, axes.get_xlabel())
        drawn.append(Markup(text))
    return _Drawn(*drawn)
