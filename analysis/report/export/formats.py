"""Writing a table as CSV, Parquet or JSON.  Nothing that is there already is overwritten."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, Final

from analysis.report.export.dictionary import Table
from replay.errors import SidebeatError
from replay.text import as_cell

_NS_PER_S: Final = 1_000_000_000


def write_csv(path: Path, table: Table, rows: Iterable[tuple[Any, ...]]) -> int:
    """Write a table as CSV; returns the number of rows.  Raises :class:`SidebeatError`."""
    kinds = [column.kind for column in table.columns]
    count = 0
    with _new_file(path) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(column.name for column in table.columns)
        for row in rows:
            writer.writerow(map(_cell, kinds, row))
            count += 1
    return count


def write_json(path: Path, table: Table, rows: Iterable[tuple[Any, ...]]) -> int:
    """Write a table as one JSON array, an object per row; returns the number of rows.

    Raises :class:`SidebeatError`.
    """
    names = [column.name for column in table.columns]
    kinds = [column.kind for column in table.columns]
    count = 0
    with _new_file(path) as file:
        file.write("[")
        for row in rows:
            values = dict(zip(names, map(_plain, kinds, row), strict=True))
            file.write((",\n" if count else "\n") + json.dumps(values, ensure_ascii=False))
            count += 1
        file.write("\n]\n")
    return count


def write_parquet(path: Path, table: Table, rows: Iterable[tuple[Any, ...]]) -> int:
    """Write a table as Parquet, with units and meanings in its schema; returns the rows.

    Raises :class:`SidebeatError`, also if ``pyarrow`` is not installed.
    """
    try:
        import pyarrow as pa  # noqa: PLC0415 - an optional dependency
        import pyarrow.parquet as pq  # noqa: PLC0415
    except ModuleNotFoundError:
        raise SidebeatError(
            "writing Parquet needs a package that is not installed: pip install 'sidebeat[files]'"
        ) from None
    types = {
        "int": pa.int64(), "float": pa.float64(), "bool": pa.bool_(), "text": pa.string(),
        "time": pa.timestamp("ns", tz="UTC"),
    }  # fmt: skip
    schema = pa.schema(
        [
            pa.field(
                column.name,
                types[column.kind],
                nullable=bool(column.missing),
                metadata={"unit": column.unit, "meaning": column.meaning},
            )
            for column in table.columns
        ]
    )
    columns = list(zip(*rows, strict=True)) or [()] * len(table.columns)
    arrays = [
        pa.array(values, type=field.type) for values, field in zip(columns, schema, strict=True)
    ]
    # Not opened by pyarrow itself, so that a file that exists is refused as with the others.
    with _new_file(path, binary=True) as file:
        pq.write_table(pa.Table.from_arrays(arrays, schema=schema), file)
    return len(columns[0])


_HALF: Final = "backslashreplace"
"""Half a character, in the name of a file that is not UTF-8, is spelled out."""
WRITERS: Final[Mapping[str, Callable[[Path, Table, Iterable[tuple[Any, ...]]], int]]] = {
    "csv": write_csv,
    "parquet": write_parquet,
    "json": write_json,
}
"""By the name of the format, which is also the ending of the file."""


def write_facts(path: Path, facts: Mapping[str, object]) -> None:
    """Write a JSON object.  Raises :class:`SidebeatError`."""
    with _new_file(path) as file:
        json.dump(facts, file, ensure_ascii=False, indent=2, allow_nan=False)
        file.write("\n")


def utc_text(utc_ns: int) -> str:
    """ISO 8601 with nanoseconds and ``Z``."""
    seconds, rest = divmod(utc_ns, _NS_PER_S)
    return f"{datetime.fromtimestamp(seconds, tz=UTC):%Y-%m-%dT%H:%M:%S}.{rest:09d}Z"


@contextmanager
def _new_file(path: Path, *, binary: bool = False) -> Iterator[IO[Any]]:
    """A file that did not exist; taken away again if writing it fails."""
    try:
        if binary:
            file: IO[Any] = path.open("xb")
        else:
            file = path.open("x", encoding="utf-8", errors=_HALF, newline="")
    except FileExistsError:
        raise SidebeatError(f"{path}: the file exists already, and is not overwritten") from None
    except OSError as error:
        raise SidebeatError(f"{path}: cannot be written: {error.strerror}") from None
    try:
        with file:
            yield file
    except BaseException as error:
        path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise SidebeatError(f"{path}: cannot be written: {error.strerror}") from None
        raise


def _plain(kind: str, value: object) -> object:
    return utc_text(value) if kind == "time" and isinstance(value, int) else value


def _cell(kind: str, value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if kind == "text" and isinstance(value, str):
        return as_cell(value)
    return "" if value is None else _plain(kind, value)
