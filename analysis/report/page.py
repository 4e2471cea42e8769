"""The page: record and figures poured into one HTML file that needs nothing beside it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

import jinja2
from markupsafe import Markup

from analysis.report import gap_tables, tables, words
from analysis.report.facts import Source
from analysis.report.figures import InPage
from analysis.report.palette import DARK, LIGHT, css_variables
from analysis.report.reporting_items import reporting_items
from analysis.report.verdict import (
    first_line,
    rule_failures,
    sensor_verdict,
    session_verdict,
)
from analysis.session.record import SessionRecord
from analysis.statistics.error_variance import CORRELATED
from replay.text import printable


def _shown(value: object) -> object:
    """What an expression of the template puts on the page; markup is of our own making."""
    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


@cache
def environment() -> jinja2.Environment:
    """What every page is made with: nothing of a capture can be markup.

    One for all pages: it keeps its templates, which are compiled when they are first asked for.
    """
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("analysis.report", "templates"),
        autoescape=True,
        finalize=_shown,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["clock"] = words.clock
    made.filters["duration"] = words.duration
    made.filters["day"] = words.day_text
    made.filters["listed"] = words.listed
    return made


def _drawn(figures: Iterable[InPage]) -> dict[str, dict[str, str]]:
    """Title and both widths of each figure by its name.

    They are made by us from numbers, with every word in them escaped.
    """
    return {
        figure.name: {
            "title": figure.title,
            "wide": Markup(figure.wide),
            "narrow": Markup(figure.narrow),
        }
        for figure in figures
    }


def _cautions(record: SessionRecord) -> list[str]:
    """Each once; what is said beside the table that it is about is not said at the top as well."""
    cautions = dict.fromkeys([*record.cautions, *record.detail_cautions])
    return [caution for caution in cautions if caution != CORRELATED]


def _local(utc_ns: int) -> dict[str, str] | None:
    """The start on the clock of the wall, in short and in words; a capture knows UTC alone."""
    found = words.local_clock(words.started_text(utc_ns))
    if found is None:
        return None
    clock, zone = found
    whose = "where this page was made"
    if zone == "UTC":
        return {"clock": "", "words": f"that is local time {whose}"}
    return {"clock": clock, "words": f"{clock} local time {whose} ({zone})"}


def page(record: SessionRecord, figures: Iterable[InPage], source: Source) -> str:
    """HTML of a session."""
    plan = record.plan
    return (
        environment()
        .get_template("session.html")
        .render(
            record=record,
            plan=plan,
            source=source,
            started=words.started_text(record.provenance.started_utc_ns),
            local=_local(record.provenance.started_utc_ns),
            first=first_line(record).replace(" %", "\u00a0%"),
            verdict=session_verdict(record),
            verdicts=[sensor_verdict(record, one) for one in record.sensors],
            cautions=_cautions(record),
            failures=rule_failures(record),
            conditions=reporting_items(plan),
            compared=[plan.sensor(number) for number in plan.compared],
            imported=[clock for clock in record.clocks if not clock.is_capture],
            any_recorded=any(clock.is_capture for clock in record.clocks),
            any_delay=any(sensor.delay.value is not None for sensor in record.sensors),
            logged=next(
                (clock.file for clock in record.clocks if clock.is_capture and clock.file), ""
            ),
            any_marked=any(effort.marked for effort in record.efforts),
            figures=_drawn(figures),
            summary=tables.summary(record),
            happenings=list(tables.happenings(record)),
            efforts=tables.efforts(record),
            statistics=[tables.statistics(record, i) for i in range(len(record.sensors))],
            parts=tables.parts(record),
            errors=tables.error_variances(record),
            coverage=gap_tables.coverage(record),
            beside_gaps=gap_tables.beside_gaps(record),
            closer=tables.closer(record),
            correlated=CORRELATED,
            signs=[tables.sign_of(record, sensor.label) for sensor in record.sensors],
            invented=words.INVENTED_LONG,
            light=Markup(css_variables(LIGHT)),
            dark=Markup(css_variables(DARK)),
        )
    )
