"""The page's tables of what is missing: coverage, gaps, and the error beside them."""

from __future__ import annotations

from analysis.report.cells import Cell, Form, estimate_cell, number_cell
from analysis.report.tables import SHARE, Row, Table, sign_of
from analysis.session.record import SensorFacts, SessionRecord


def coverage(record: SessionRecord) -> Table:
    """Coverage and gaps, the reference's first."""
    rows = [Row(record.reference.label, _coverage(record.reference, "reference"))]
    for index, sensor in enumerate(record.sensors):
        cells = _coverage(sensor.facts, f"sensors/{index}")
        rows.append(Row(sensor.label, cells, sign=sign_of(record, sensor.label)))
    return Table(
        "coverage",
        "Coverage and gaps",
        ("sensor", "coverage, %", "gaps", "in all, s", "longest, s", "notifications", "malformed",
         "invalid", "doubtful"),
        tuple(rows),
        ("Doubtful: readings of a test sensor that leapt by more than 30 bpm within 1.5 s, as no "
         "heart does; they count all the same.",),
    )  # fmt: skip


def beside_gaps(record: SessionRecord) -> Table:
    """What part of the error lies beside gaps."""
    rows = []
    for index, sensor in enumerate(record.sensors):
        at, error = f"sensors/{index}/gap_error", sensor.gap_error
        cells = (
            number_cell(error.pairs_percent, f"{at}/beside_gaps_pairs_percent", SHARE),
            number_cell(error.error_percent, f"{at}/beside_gaps_error_percent", SHARE),
            estimate_cell(error.beside.mae, f"{at}/beside_gaps_mae_bpm", Form(1)),
            estimate_cell(error.elsewhere.mae, f"{at}/elsewhere_mae_bpm", Form(1)),
        )
        rows.append(Row(sensor.label, cells, sign=sign_of(record, sensor.label)))
    return Table(
        "beside-gaps",
        "What part of the error lies beside gaps",
        ("sensor", "pairs beside gaps, %", "error there, % of all", "MAE there, bpm",
         "MAE elsewhere, bpm"),
        tuple(rows),
        ("Beside a gap: a value that stands in for a missed one, and the first 10 s after a gap, "
         "of the sensor or of the reference.",),
    )  # fmt: skip


def _coverage(facts: SensorFacts, at: str) -> tuple[Cell, ...]:
    return (
        number_cell(facts.coverage_percent, f"{at}/coverage_percent", SHARE),
        number_cell(len(facts.gaps), f"{at}/gaps", Form(0)),
        number_cell(facts.gap_s, f"{at}/gap_s", Form(0)),
        number_cell(facts.longest_gap_s, f"{at}/longest_gap_s", Form(0)),
        number_cell(facts.notifications, f"{at}/notifications", Form(0)),
        number_cell(facts.malformed, f"{at}/malformed", Form(0)),
        number_cell(facts.invalid, f"{at}/invalid", Form(0)),
        number_cell(len(facts.doubtful_s), f"{at}/doubtful", Form(0)),
    )
