"""The tables of an export and their columns: one place for the files, the dictionary and the page.

``python -m analysis.report.export.dictionary`` prints ``docs/data_dictionary.md``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

MISSING: Final = {
    "csv": "an empty cell",
    "parquet": "null",
    "json": "null",
}
"""How each format says that there is no value."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column.  ``kind``: ``int``, ``float``, ``bool``, ``text`` or ``time`` (UTC).

    ``unit``: empty where there is none.  ``missing``: when there is no value, empty if never.
    """

    name: str
    kind: str
    unit: str
    meaning: str
    missing: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """One table.  ``row``: what one row is."""

    name: str
    row: str
    columns: tuple[Column, ...]


_T_NS = Column("t_ns", "int", "ns", "arrival, by the capture clock since the session began")
_UTC = Column(
    "utc", "time", "UTC", "the same instant by the clock at the session's start",
    "nothing says when the session was",
)  # fmt: skip
_SENSOR = Column("sensor", "text", "", "label of the sensor")
_NUMBER = Column("sensor_number", "int", "", "its place in the plan, from 1")

NOTIFICATIONS: Final = Table(
    "notifications",
    "one thing that arrived, or that the session recorded about itself, in order of arrival",
    (
        Column("seq", "int", "", "counts from 1"),
        _T_NS,
        _UTC,
        Column("sensor_number", "int", "", "place of the sensor in the plan; 0: the session"),
        Column("sensor", "text", "", "label of the sensor", "an event of the session itself"),
        Column("channel", "text", "", "characteristic (2a37: heart rate) or kind of event"),
        Column("payload", "text", "hexadecimal", "the bytes as they came", "no bytes"),
        Column(
            "stamp_ns",
            "int",
            "ns",
            "stamp of another clock that heard or sent it first",
            "none told",
        ),
        Column("clock", "text", "", "which clock that was", "none told"),
        Column(
            "offset_ns",
            "int",
            "ns",
            "what was added to the stamp, when it arrived, to have it on the capture clock",
            "no other clock, or not known then",
        ),
    ),
)
READINGS: Final = Table(
    "readings",
    "one heart-rate payload and what it was read as",
    (
        _T_NS,
        _UTC,
        _NUMBER,
        _SENSOR,
        Column("bpm", "float", "bpm", "heart rate, to a thousandth", "it could not be read"),
        Column("valid", "bool", "", "25 to 240 bpm, and contact not denied: it may be paired"),
        Column("contact", "bool", "", "skin contact", "the sensor does not say"),
        Column("energy_kj", "int", "kJ", "energy since its reset", "not sent"),
        Column("rr_ms", "text", "ms", "RR intervals, oldest first, a blank between", "none sent"),
        Column("problem", "text", "", "why it could not be read", "it could"),
    ),
)
PAIRS: Final = Table(
    "pairs",
    "one second at which the reference and a test sensor both had a value, as in the statistics",
    (
        Column("second", "int", "s", "second of the grid since the session began"),
        _UTC,
        _NUMBER,
        _SENSOR,
        Column("reference_bpm", "float", "bpm", "value of the reference"),
        Column("test_bpm", "float", "bpm", "value of the test sensor"),
        Column("difference_bpm", "float", "bpm", "test minus reference"),
        Column("within_tolerance", "bool", "", "inside the session's tolerance"),
        Column("excluded", "bool", "", "left out of the statistics without exclusions"),
        Column("reason", "text", "", "why, several joined by a semicolon", "not excluded"),
    ),
)
EFFORTS: Final = Table(
    "efforts",
    "one effort or trough of the reference, and what one test sensor made of it",
    (
        Column("effort", "int", "", "counts efforts and troughs together, from 1"),
        Column("kind", "text", "", "effort or trough"),
        Column("start_s", "int", "s", "its start on the grid"),
        Column("peak_s", "int", "s", "its peak (of a trough: its bottom)"),
        Column("return_s", "int", "s", "its return"),
        Column("base_bpm", "float", "bpm", "level of the reference at the start"),
        Column("peak_bpm", "float", "bpm", "level of the reference at the peak"),
        Column("marked", "bool", "", "drawn by the tester, not found"),
        _NUMBER,
        _SENSOR,
        Column("answer", "text", "", "followed, late, blunted, missed, or unseen (no values)"),
        Column(
            "delay_s", "float", "s", "how much later it was at half rise",
            "it cannot be told, or the sensor was not stamped on the clock of the reference",
        ),
        Column(
            "shortfall_bpm", "float", "bpm", "how far its peak stayed behind; negative: beyond",
            "it cannot be told",
        ),
        Column("share_recovered", "float", "1", "share of the rise it showed", "not to be told"),
    ),
)  # fmt: skip
WARNINGS: Final = Table(
    "warnings",
    "one warning of the live monitor, from its start to its end",
    (
        Column("warning", "int", "", "counts from 1"),
        Column("kind", "text", "", "see the list of warnings in warnings.md"),
        Column("sensor_number", "int", "", "place of the sensor in the plan; 0: the session"),
        Column("sensor", "text", "", "label of the sensor", "a warning about the session"),
        Column("severity", "text", "", "notice, test fault, reference fault, session fault"),
        Column("since_s", "int", "s", "when the fault began"),
        Column("start_s", "int", "s", "when the warning was raised"),
        Column("end_s", "int", "s", "when it cleared", "it stood to the end"),
        Column("cause", "text", "", "what was seen"),
        Column("advice", "text", "", "what to do about it"),
        Column("cleared", "text", "", "how it ended", "it stood to the end"),
    ),
)
TABLES: Final = {table.name: table for table in (NOTIFICATIONS, READINGS, PAIRS, EFFORTS, WARNINGS)}


def dictionary_json() -> dict[str, object]:
    """The dictionary as plain values, as it is written beside every export."""
    return {
        "missing_values": MISSING,
        "tables": {
            table.name: {
                "row": table.row,
                "columns": [
                    {
                        "name": column.name,
                        "type": column.kind,
                        "unit": column.unit or None,
                        "meaning": column.meaning,
                        "missing_when": column.missing or None,
                    }
                    for column in table.columns
                ],
            }
            for table in TABLES.values()
        },
    }


def dictionary_page() -> str:
    """The text of ``docs/data_dictionary.md``."""
    lines = [
        "# The data dictionary of `sidebeat export`",
        "",
        "Each table is one file, `NAME.csv`, `NAME.parquet` or `NAME.json`; CSV is UTF-8 with a",
        "header row and a point as decimal sign. Beside the tables stand `session.json` (who,",
        "what, which sensors, from which files) and `data_dictionary.json`, the machine-readable",
        "twin of this page. A missing value is "
        + ", ".join(f"{how} in {name.upper()}" for name, how in MISSING.items())
        + ".",
        "In CSV a text that begins with `=`, `+`, `-`, `@` or an apostrophe has an apostrophe more",
        "before it, so that no spreadsheet takes it for a formula.",
        "",
        "The mean of |`difference_bpm`| over the `pairs` of one sensor is the MAE that",
        "`sidebeat analyse` prints for the whole session; over those that are not `excluded` it is",
        "the one without exclusions.",
    ]
    for table in TABLES.values():
        lines += [
            "",
            f"## {table.name}",
            "",
            f"A row is {table.row}.",
            "",
            "| column | type | unit | meaning | missing when |",
            "|---|---|---|---|---|",
        ]
        lines += [
            f"| `{c.name}` | {c.kind} | {c.unit or '–'} | {c.meaning.replace('|', chr(92) + '|')} "
            f"| {c.missing or 'never'} |"
            for c in table.columns
        ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(dictionary_page(), end="")
