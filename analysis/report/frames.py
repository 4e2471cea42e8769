"""Numbers as tables for Python: a pandas DataFrame where pandas is installed, else numpy.

Columns have the names of the JSON; an interval makes two, ``…_interval_low`` and
``…_interval_high``.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt

from analysis.report.facts import session_facts
from analysis.session.pairs import Pairs
from analysis.session.record import SessionRecord

if TYPE_CHECKING:
    import pandas as pd

    Frame: TypeAlias = pd.DataFrame | npt.NDArray[np.void]

Row: TypeAlias = dict[str, object]
"""One row of a table: a value that fits a cell by the name of its column."""

_INTERVAL = "_interval"


def frame(rows: Sequence[Row]) -> Frame:
    """Rows as a table: DataFrame, or a structured array of as many rows without pandas.

    What a row lacks, and what is not known, is NaN in a column of numbers and empty in one of text.

    >>> frame([{'sensor': 'Sorrel', 'mae_bpm': 2.5}])['mae_bpm'].tolist()
    [2.5]
    """
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = {name: _column([row.get(name) for row in rows]) for name in names}
    if importlib.util.find_spec("pandas") is not None:
        import pandas as pd  # noqa: PLC0415 - not a dependency

        return pd.DataFrame(columns)
    table = np.zeros(len(rows), dtype=[(name, column.dtype) for name, column in columns.items()])
    for name, column in columns.items():
        table[name] = column
    return table


def _column(values: Sequence[object]) -> npt.NDArray[np.generic]:
    known = [value for value in values if value is not None]
    if known and all(isinstance(value, bool) for value in values):
        return np.array(values, dtype=bool)
    if all(isinstance(value, (int, float)) for value in known):
        if known and len(known) == len(values) and all(isinstance(v, int) for v in known):
            return np.array(values, dtype=np.int64)
        return np.array([np.nan if value is None else value for value in values], dtype=float)
    return np.array(["" if value is None else str(value) for value in values], dtype=str)


def flat_row(facts: Mapping[str, object], prefix: str = "") -> Row:
    """One JSON object as a row: what is nested gets the outer name in front, lists of texts are
    joined, and other lists are left out.

    >>> flat_row({'mae_bpm': 2.0, 'mae_bpm_interval': [1.5, 2.5], 'failures': {'of_sessions': 9}})
    {'mae_bpm': 2.0, 'mae_bpm_interval_low': 1.5, 'mae_bpm_interval_high': 2.5, \
'failures_of_sessions': 9}
    """
    row: Row = {}
    for key, value in facts.items():
        name = prefix + key
        if key.endswith(_INTERVAL):
            low, high = value if isinstance(value, list) else (None, None)
            row |= {f"{name}_low": low, f"{name}_high": high}
        elif isinstance(value, Mapping):
            row |= flat_row(value, f"{name}_")
        elif not isinstance(value, list):
            row[name] = value
        elif value and all(isinstance(one, str) for one in value):
            row[name] = " ".join(value)
    return row


def record_frame(record: SessionRecord, path: Path | str = "") -> Frame:
    """One row for each test sensor of a session: what it sent, and the agreement that is quoted.

    ``path``: of its capture, for the column ``file``.
    """
    facts = session_facts(record, Path(path))
    about = {name: facts[name] for name in ("file", "started_utc", "wearer", "activity")}
    sensors = facts["sensors"]
    rows = []
    for one in sensors if isinstance(sensors, list) else ():
        sets = ("whole_session", "without_exclusions")
        plain = {name: value for name, value in one.items() if not isinstance(value, (dict, list))}
        agreement = one[one["counted"]] if one.get("counted") in sets else {}
        rows.append(flat_row({**about, **plain, **agreement}))
    return frame(rows)


def pairs_frame(pairs: Iterable[Pairs]) -> Frame:
    """One row for each second in which a test sensor and the reference both had a value."""
    rows: list[Row] = [
        {
            "sensor": one.label,
            "second": int(second),
            "reference_bpm": float(reference),
            "test_bpm": float(test),
            "difference_bpm": float(test - reference),
            "excluded": bool(excluded),
        }
        for one in pairs
        for second, reference, test, excluded in zip(
            one.second, one.reference_bpm, one.test_bpm, one.excluded, strict=True
        )
    ]
    return frame(rows)
