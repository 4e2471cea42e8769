"""FIT activity files, read by ``fitdecode``."""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from replay.errors import ActivityFileError
from replay.files.series import RawSeries, Row
from replay.files.times import utc_ns

if TYPE_CHECKING:
    from fitdecode import FitDataMessage


def read_fit(path: Path, data: bytes) -> RawSeries:
    """The heart rate of every ``record`` message.

    A file that breaks off or whose checksum is wrong gives what stands before, with a remark.
    Raises :class:`ActivityFileError` if nothing can be read, or if ``fitdecode`` is missing.
    """
    try:
        import fitdecode  # noqa: PLC0415 - an optional dependency
    except ModuleNotFoundError:
        raise missing_parser(path, "FIT") from None

    rows: list[Row] = []
    remark = ""
    try:
        with fitdecode.FitReader(
            io.BytesIO(data),
            check_crc=fitdecode.CrcCheck.RAISE,
            error_handling=fitdecode.ErrorHandling.IGNORE,
        ) as reader:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record":
                    rows.append(_row(frame))
    except fitdecode.FitCRCError:
        remark = "The checksum of the file is wrong: part of it may be damaged."
    except fitdecode.FitEOFError:
        remark = "The file breaks off: what stands before is used."
    except (fitdecode.FitError, ValueError, LookupError, TypeError, ArithmeticError) as error:
        # The parser's own checks are few; a damaged file may make it stumble anywhere.
        remark = (
            f"The file is damaged ({error or type(error).__name__}): what stands before is used."
        )
    if remark and not rows:
        raise ActivityFileError(f"{path}: this FIT file is damaged, and no record can be read")
    return RawSeries("FIT", rows, remarks=(remark,) if remark else ())


def missing_parser(path: Path, kind: str) -> ActivityFileError:
    """The sentence for a parser that is not installed."""
    return ActivityFileError(
        f"{path}: reading {kind} files needs packages that are not installed: "
        "pip install 'sidebeat[files]'"
    )


def _row(message: FitDataMessage) -> Row:
    moment = message.get_value("timestamp", fallback=None)
    value = message.get_value("heart_rate", fallback=None)
    # A device that never had the time counts seconds since it was switched on: no datetime then.
    time_ns = utc_ns(moment) if isinstance(moment, datetime) and moment.tzinfo else None
    return Row(time_ns, None if value is None else str(value))
