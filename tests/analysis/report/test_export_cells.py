"""Tables that a spreadsheet opens hold no formula that somebody smuggled in."""

from __future__ import annotations

import csv

from analysis.report.export.dictionary import Column, Table
from analysis.report.export.formats import write_csv

TABLE = Table(
    "notes",
    "what was said",
    (
        Column("text", "text", "", "what was said", "never"),
        Column("bpm", "float", "bpm", "a number", "never"),
    ),
)


def test_texts_that_would_be_formulas_are_shown_and_numbers_stay_numbers(tmp_path) -> None:
    """A text that begins like a formula stands behind an apostrophe; a number does not."""
    path = tmp_path / "notes.csv"
    write_csv(path, TABLE, [('=HYPERLINK("x")', -3.5), ("Sorrel", 2.0), ("-1", -1.0)])
    with path.open(newline="") as file:
        rows = list(csv.reader(file))[1:]
    assert rows == [['\'=HYPERLINK("x")', "-3.5"], ["Sorrel", "2.0"], ["'-1", "-1.0"]]
