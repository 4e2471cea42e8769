"""Saving what is whole of a damaged capture into a new one.

The new capture has the session, events and notes of the old one and no ending: it stays marked
as unclean.  A note of the kind ``salvaged`` says what was lost: ``lost`` (events), ``stretches``
(the first thousand, each with ``after_ns``, ``before_ns`` or null, and ``events``),
``damaged_notes``, ``missing_bytes``, and ``ending_t_ns`` and ``ending_reason`` of the old ending
or null.
"""

from __future__ import annotations

import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final, NamedTuple

from replay.capture.files import LOG, sidecar
from replay.capture.notes import SALVAGED, Note
from replay.capture.raw_file import copy_file, held_raw
from replay.capture.recovery import Recovered, Session, recover, sieve
from replay.capture.schema import has_this_schema
from replay.capture.writer import CaptureWriter
from replay.errors import CaptureError, DamagedCapture, NewerCapture, NotACapture
from replay.event import ANCHOR, unpack_int
from replay.plan import Plan

_LISTED: Final = 1000
"""Places of loss that are listed: the note that keeps them has to be read again."""
_COMMIT_EVERY: Final = 5000
"""Events of one transaction."""


@dataclass(frozen=True, slots=True)
class LostStretch:
    """Events lost between two that were saved; ``before_ns`` is ``None`` at the end."""

    after_ns: int
    before_ns: int | None
    events: int


@dataclass(frozen=True, slots=True)
class SalvageReport:
    """What a salvage did.

    ``lost``: events known to be lost; ``stretches``: where, the first thousand places.
    ``may_lack_its_end``: the old capture had no readable ending, so how many events followed the
    last one cannot be known.
    """

    source: Path
    target: Path
    saved: int
    lost: int
    stretches: tuple[LostStretch, ...]
    notes: int
    damaged_notes: int
    missing_bytes: int
    may_lack_its_end: bool


def salvage(source: Path, target: Path, *, plan: Plan | None = None) -> SalvageReport:
    """Write what is whole of ``source`` to the new file ``target``; ``source`` is not changed.

    ``plan``: used only where the capture's own plan is lost.  Raises :class:`CaptureError` if
    nothing can or need be saved, if the plan is lost and none is given, or if ``target``
    exists.
    """
    found = _recover(source)
    lost = lost_stretches(found)
    if (
        found.session
        and found.ending
        and not (
            lost.places
            or found.damaged_notes
            or found.missing_bytes
            or found.complaints
            or found.session_damaged
            or found.hidden
        )
    ):
        raise CaptureError(f"{source}: the capture is whole and was closed; nothing to salvage")
    if not found.rows and not found.session:
        raise DamagedCapture(f"{source}: nothing in the capture is whole enough to be saved")
    session = found.session or _session_from(source, found, plan)
    note = Note(
        number=max((note.number for note in found.notes), default=0) + 1,
        made_utc_ns=time.time_ns(),
        kind=SALVAGED,
        body={
            "lost": lost.events,
            "stretches": [asdict(stretch) for stretch in lost.first],
            "damaged_notes": found.damaged_notes,
            "missing_bytes": found.missing_bytes,
            "ending_t_ns": found.ending.t_ns if found.ending else None,
            "ending_reason": found.ending.reason if found.ending else None,
        },
    )
    _write(found, session, note, target)
    return SalvageReport(
        source=source,
        target=target,
        saved=len(found.rows),
        lost=lost.events,
        stretches=lost.first,
        notes=len(found.notes),
        damaged_notes=found.damaged_notes,
        missing_bytes=found.missing_bytes,
        may_lack_its_end=found.ending is None,
    )


class Lost(NamedTuple):
    """What is lost: how many events, at how many places, and the first thousand of these."""

    events: int
    places: int
    first: tuple[LostStretch, ...]


def lost_stretches(found: Recovered) -> Lost:
    """Where events are missing, by the times of the whole ones around."""
    events = places = 0
    listed: list[LostStretch] = []
    for first, after in found.holes():
        events += after - first
        places += 1
        if places <= _LISTED:
            before, then = found.rows.get(first - 1), found.rows.get(after)
            listed.append(
                LostStretch(
                    after_ns=before.t_ns if before else 0,
                    before_ns=then.t_ns if then else None,
                    events=after - first,
                )
            )
    return Lost(events, places, tuple(listed))


def _recover(source: Path) -> Recovered:
    try:
        return recover(source)
    except (NotACapture, NewerCapture) as error:
        # Perhaps only the first bytes are spoilt: rows with right checksums prove a capture, and
        # the statements of this format that it is of no newer one.
        found = Recovered()
        try:
            with tempfile.TemporaryDirectory(prefix="sidebeat-") as folder:
                for path in (source, sidecar(source, LOG)):
                    if path.exists():
                        copy = Path(folder) / "raw"
                        copy_file(path, copy)
                        with held_raw(copy) as data:
                            if (
                                path == source
                                and isinstance(error, NewerCapture)
                                and not has_this_schema(data)
                            ):
                                raise
                            sieve(found, data, is_log=path != source)
        except OSError:
            pass
        if not found.rows:
            raise
        return found


def _session_from(source: Path, found: Recovered, plan: Plan | None) -> Session:
    if plan is None:
        raise DamagedCapture(
            f"{source}: the plan in the capture is lost; {len(found.rows)} events can be saved if "
            "a plan with the same sensors is given"
        )
    started_utc_ns = 0
    for row in found.rows.in_order():
        event = row.event
        if event.channel == ANCHOR and len(event.payload) == 8:
            started_utc_ns = unpack_int(event.payload) - event.t_ns
            break
    return Session("", started_utc_ns, "salvaged", plan.invented, plan)


def _write(found: Recovered, session: Session, note: Note, target: Path) -> None:
    writer = CaptureWriter(
        target,
        session.plan,
        started_utc_ns=session.started_utc_ns,
        software=session.software,
        session_uuid=session.uuid or None,
    )
    try:
        for number, row in enumerate(found.rows.in_order(), 1):
            writer.append(row.event)
            if number % _COMMIT_EVERY == 0:
                writer.commit()
        writer.commit()
        writer.keep_notes([*found.notes, note])
    except BaseException:
        writer.abandon()
        target.unlink(missing_ok=True)
        raise
    writer.abandon()
