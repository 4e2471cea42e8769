"""A study as one HTML page that needs nothing beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from markupsafe import Markup

from analysis.report.page import environment
from analysis.report.palette import DARK, LIGHT, css_variables
from analysis.report.study.comparison_words import claim_sentence
from analysis.report.study.methods import REFERENCES, methods_paragraph
from analysis.report.study.page_figures import Drawn, PageFigures
from analysis.report.study.plan_words import plan_lines
from analysis.report.study.published_words import published_row
from analysis.report.study.study_view import ALL, StudyView
from analysis.report.study.texts import value_text
from analysis.report.study.words import Verdict, verdict_of
from analysis.report.words import INVENTED_LONG, NONE, started_text
from analysis.statistics.estimate import Estimate
from analysis.study.published import Published
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
from analysis.study.study_plan import StudyPlan

_Columns: TypeAlias = tuple[tuple[Statistic, int], ...]
_ERRORS: Final[_Columns] = ((MAE, 1), (MAPE, 1), (BIAS, 1))
_REST: Final[_Columns] = (
    (WITHIN, 0), (WITHIN_5, 0), (PEARSON, 2), (CONCORDANCE, 2), (DELAY, 1), (COVERAGE, 0),
)  # fmt: skip
"""Columns of two tables, each with the digits of its statistic: one would not fit a screen."""


@dataclass(frozen=True, slots=True)
class _Part:
    """What the page shows of one activity."""

    name: str
    verdict: Verdict
    claims: list[str]
    others: list[str]
    figures: dict[str, Drawn]
    errors: list[list[str]]
    rest: list[list[str]]
    published: list[list[str]]
    places: list[str]
    worn: list[list[str]]


def study_page(
    study: Study,
    software: str,
    *,
    view: StudyView = ALL,
    published: Sequence[Published] = (),
    pages: Mapping[str, str] | None = None,
    plan: StudyPlan | None = None,
) -> str:
    """HTML of a study.  ``software``: that makes it, name and version.

    ``view``: what the figures show; tables and sentences are of all.
    ``published``: figures without data, shown apart.  ``pages``: where the report of a session
    lies, seen from this page, by the path of its capture; points lead there, and else to the
    session's row.
    """
    counted = {row.path for one in study.activities for row in one.sessions}
    rows = sorted(study.rows, key=lambda row: (row.started_utc_ns, row.path))
    anchors = {row.path: f"#session-{number}" for number, row in enumerate(rows)}
    figures = PageFigures(anchors | dict(pages or {}), view)
    parts = [_part(number, one, figures, published) for number, one in enumerate(study.activities)]
    return (
        environment()
        .get_template("study.html")
        .render(
            study=study,
            parts=parts,
            heads=(_heads(_ERRORS, "lower limit, bpm", "upper limit, bpm"), _heads(_REST)),
            published_heads=["sensor", "statistic", "value", "sessions", "wearers", "source"],
            elsewhere=[published_row(one) for one in published if not _has(study, one)],
            plan=[] if plan is None else list(plan_lines(plan, study)),
            session_heads=["file", "started (UTC)", "wearer", "activity", "counts"],
            sessions=[
                [
                    (row.path, (pages or {}).get(row.path, "")),
                    (started_text(row.started_utc_ns) or NONE)[:16].replace("T", " "),
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


def _part(
    number: int, one: Activity, figures: PageFigures, published: Sequence[Published]
) -> _Part:
    verdict = verdict_of(one)
    claims = [said for each in one.comparisons if (said := claim_sentence(each)) is not None]
    places = list(dict.fromkeys(place for worn in one.worn for place, _ in worn.places))
    results = [one.sensor(place.name) for place in one.ranking.places]
    return _Part(
        name=one.name,
        verdict=verdict,
        claims=claims,
        others=[said for said in (*verdict.comparisons, *verdict.order) if said not in claims],
        figures=figures.of(number, one),
        errors=[row for result in results for row in _rows(result, _ERRORS, limits=True)],
        rest=[row for result in results for row in _rows(result, _REST)],
        published=[published_row(each) for each in published if _is_of(one, each)],
        places=["sensor", *places],
        worn=[
            [worn.name, *(str(dict(worn.places).get(place, "")) for place in places)]
            for worn in one.worn
        ],
    )


def _heads(columns: _Columns, *more: str) -> list[str]:
    names = [f"{one.words}, {one.unit}" if one.unit else one.words for one, _ in columns]
    return ["sensor", "sessions", "lost the heart in", *names, *more]


def _rows(result: SensorResult, columns: _Columns, *, limits: bool = False) -> list[list[str]]:
    lost = str(result.failures.count)
    rows = [[result.name, *_cells(result.every, lost, columns, limits=limits)]]
    steady = result.without_failures
    if steady is not None and steady.sessions:
        rows.append(
            [f"{result.name}, where it did not", *_cells(steady, "", columns, limits=limits)]
        )
    return rows


def _cells(means: Means, lost: str, columns: _Columns, *, limits: bool) -> list[str]:
    cells = [
        str(means.sessions), lost,
        *(_cell(means.of(one), digits, signed=one is BIAS) for one, digits in columns),
    ]  # fmt: skip
    if limits:
        cells += [_cell(end, 1, signed=True) for end in (means.loa_low, means.loa_high)]
    return cells


def _is_of(activity: Activity, one: Published) -> bool:
    return " ".join(one.activity.casefold().split()) == " ".join(activity.name.casefold().split())


def _has(study: Study, one: Published) -> bool:
    return any(_is_of(activity, one) for activity in study.activities)


def _cell(estimate: Estimate, digits: int, *, signed: bool = False) -> str:
    return NONE if estimate.value is None else value_text(estimate, digits, signed=signed)
