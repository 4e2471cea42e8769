"""One capture to the record of its session: loading, exclusions, notes, computation, cache.

``read_session`` gives the numbers, ``read_pairs`` the pairs that they rest on::

    from analysis.session import read_pairs, read_session

    record = read_session("captures/2026-03-04_0715_rowing-ergometer_W1.sqlite")
    print(record.sensor("Sorrel").counted.mae)
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.session.pairs import Pairs
    from analysis.session.record import SessionRecord

__all__ = ["read_pairs", "read_session"]


def read_session(path: Path | str) -> SessionRecord:
    """The record of a capture, from the cache where one is kept that fits.

    Raises a :class:`replay.errors.CaptureError` if the file is missing, is no capture, or is
    damaged.
    """
    from analysis.session.pipeline import record_of  # noqa: PLC0415 - a view needs no capture
    from replay.capture import Capture  # noqa: PLC0415

    with Capture.open(Path(path)) as capture:
        return record_of(capture)


def read_pairs(path: Path | str) -> tuple[Pairs, ...]:
    """The pairs of each test sensor as arrays.  Raises as :func:`read_session`."""
    from analysis.session.pairs import session_pairs  # noqa: PLC0415 - as above
    from analysis.session.pipeline import session_of  # noqa: PLC0415
    from replay.capture import Capture  # noqa: PLC0415

    with Capture.open(Path(path)) as capture:
        session = session_of(capture)
    return session_pairs(session.record, session.data)
