"""From a capture to the record of its session: taken from the cache, or read and computed once."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.session.cache import RecordCache
from analysis.session.load import SessionData, load_session
from analysis.session.record import SessionRecord
from replay.capture import Capture


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """A session's numbers, and the arrays that they were computed from."""

    record: SessionRecord
    data: SessionData


def record_of(capture: Capture) -> SessionRecord:
    """The record of an open capture.  Raises as reading its events does."""
    cache = RecordCache(capture)
    record = cache.load()
    return _computed(capture, cache).record if record is None else record


def computed_record(capture: Capture) -> SessionRecord:
    """The record of an open capture, computed whatever is kept.  Raises as reading events does."""
    return _compute(capture).record


def session_of(capture: Capture) -> Session:
    """The record of an open capture with its arrays.  Raises as reading its events does."""
    cache = RecordCache(capture)
    record = cache.load()
    if record is None:
        return _computed(capture, cache)
    return Session(record, load_session(capture))


def _computed(capture: Capture, cache: RecordCache) -> Session:
    session = _compute(capture)
    cache.store(session.record)
    return session


def _compute(capture: Capture) -> Session:
    # What computes loads scipy, which takes longer than a record from the cache.
    from analysis.session import load  # noqa: PLC0415 - see above
    from analysis.session.compute import compute_record  # noqa: PLC0415
    from analysis.session.exclusions import counting, suggestions  # noqa: PLC0415
    from analysis.session.provenance import provenance_of  # noqa: PLC0415

    data, board = load.session_of(capture)
    left_out = counting(suggestions(board), capture.effective_notes)
    record = compute_record(
        data,
        board.warnings,
        left_out,
        provenance_of(capture),
        failed_rules=board.failed_rules,
        finder=board.efforts.finder,
    )
    return Session(record, data)
