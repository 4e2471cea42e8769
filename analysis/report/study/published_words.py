"""Published figures without data, in words."""

from __future__ import annotations

from analysis.report.study.texts import sessions_text, wearers_text
from analysis.report.words import NONE
from analysis.study.published import Published
from analysis.study.statistic import STATISTICS


def published_sentence(one: Published) -> str:
    """One figure, with what is behind it as far as its source says."""
    behind = [] if one.sessions is None else [sessions_text(one.sessions)]
    behind += [] if one.wearers is None else [wearers_text(one.wearers)]
    count = f" over {' of '.join(behind)}" if behind else ""
    return f"{_name(one)} in {one.activity}: {_what(one)} {_value(one)}{count} ({one.source})."


def published_row(one: Published) -> list[str]:
    """The same as cells of a table: sensor, statistic, value, sessions, wearers, source."""
    counts = [NONE if count is None else str(count) for count in (one.sessions, one.wearers)]
    return [_name(one), f"{_what(one)}, {one.activity}", _value(one), *counts, one.source]


def _name(one: Published) -> str:
    return " ".join(filter(None, (one.sensor, one.firmware)))


def _what(one: Published) -> str:
    return next(each.words for each in STATISTICS if each.key == one.statistic)


def _value(one: Published) -> str:
    unit = next(each.unit for each in STATISTICS if each.key == one.statistic)
    return f"{one.value:g}".replace("-", "−") + (f" {unit}" if unit else "")
