"""One capture to its row, whatever the file may hold: a row or a sentence, never an error."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Final

from analysis.study.folders import why_no_database
from analysis.study.row import SessionRow, row_of
from replay.errors import SidebeatError

_LOG: Final = logging.getLogger(__name__)


def read_row(path: Path, *, kept_only: bool = False) -> SessionRow | str | None:
    """The row of a capture, or why there is none, in one sentence.

    ``kept_only``: from the cache alone, ``None`` where its record would have to be computed.  Where
    the row itself is kept, the capture is not even opened.
    """
    from analysis.session.cache import RecordCache  # noqa: PLC0415 - only where sessions are read
    from analysis.session.pipeline import record_of  # noqa: PLC0415
    from analysis.study.row_cache import RowCache  # noqa: PLC0415
    from replay.capture import Capture  # noqa: PLC0415

    try:
        if problem := why_no_database(path):
            return problem
        kept = RowCache(path)
        if (row := kept.load()) is not None:
            return row
        with Capture.open(path) as capture:
            record = RecordCache(capture).load() if kept_only else record_of(capture)
        if record is None:
            return None
        row = row_of(record, str(path))
        kept.store(row)
        return row
    except SidebeatError as error:
        return str(error)
    except OSError as error:
        return f"{path}: cannot be read: {error.strerror}"
    except Exception as error:  # one strange file must not end a study of five hundred
        _LOG.debug("%s", path, exc_info=True)
        return f"{path}: cannot be read: {type(error).__name__}: {error}"
