"""The page: facts and figures poured into one HTML file that needs nothing beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import jinja2
from markupsafe import Markup

from analysis.report import tables, words
from analysis.report.figures import InPage
from analysis.report.palette import DARK, LIGHT, css_variables
from analysis.statistics.error_variance import CORRELATED
from replay.text import printable


def _shown(value: object) -> object:
    """What an expression of the template puts on the page; markup is of our own making."""
    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def page(facts: Mapping[str, Any], figures: Iterable[InPage]) -> str:
    """HTML of a session.  ``facts``: ``analysis.report.facts.report_facts``."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("analysis.report", "templates"),
        autoescape=True,
        finalize=_shown,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["clock"] = words.clock
    environment.filters["duration"] = words.duration
    environment.filters["day"] = words.day_text
    environment.filters["listed"] = words.listed
    drawn = {
        figure.name: {
            "title": figure.title,
            # Made by us from numbers, with every word in it escaped.
            "wide": Markup(figure.wide),
            "narrow": Markup(figure.narrow),
        }
        for figure in figures
    }
    return environment.get_template("session.html").render(
        facts=facts,
        figures=drawn,
        summary=tables.summary(facts),
        happenings=list(tables.happenings(facts)),
        efforts=tables.efforts(facts),
        statistics=[tables.statistics(facts, i) for i in range(len(facts["sensors"]))],
        parts=tables.parts(facts),
        errors=tables.error_variances(facts),
        coverage=tables.coverage(facts),
        closer=tables.closer(facts),
        correlated=CORRELATED,
        signs=[tables.sign_of(facts, sensor["label"]) for sensor in facts["sensors"]],
        invented=words.INVENTED_LONG,
        light=Markup(css_variables(LIGHT)),
        dark=Markup(css_variables(DARK)),
    )
