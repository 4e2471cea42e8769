"""A study as tables: rows for CSV, and frames for Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from analysis.report.frames import Row, flat_row, frame
from analysis.report.study.facts import study_facts
from analysis.study.study import Study

if TYPE_CHECKING:
    from analysis.report.frames import Frame

TABLES: Final = ("sessions", "sensors", "comparisons", "rankings", "set_apart", "left_out")
"""Their names, which are those of the JSON."""


def study_rows(study: Study) -> dict[str, list[Row]]:
    """The rows of each of :data:`TABLES`: of sessions one for each test sensor, of rankings one for
    each place.
    """
    facts = study_facts(study)
    found: dict[str, list[Row]] = {}
    for name in TABLES:
        listed = facts[name]
        inner = {"sessions": "test_sensors", "rankings": "places"}.get(name)
        found[name] = []
        for one in listed if isinstance(listed, list) else ():
            outer = flat_row(one)
            found[name] += [outer | flat_row(each) for each in one[inner]] if inner else [outer]
    return found


def study_frames(study: Study) -> dict[str, Frame]:
    """The same as frames, each by its name."""
    return {name: frame(rows) for name, rows in study_rows(study).items()}
