"""The whole of a capture, read once: what a player that stands at one instant cannot know.

Jumps need what comes later; suggested exclusions and the numbers need the end.  Reading eight
hours takes seconds, so it is done on a thread of its own, with a connection of its own.
"""

from __future__ import annotations

import threading
from array import array
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.board import Board
from analysis.session.bookmarks import Bookmark, bookmarks_of
from analysis.session.exclusions import Suggestion, counting, suggestions
from analysis.session.load import SessionData, session_of, with_notes
from analysis.session.provenance import provenance_of
from analysis.statistics.efforts import Kind as EffortKind
from replay.capture import Capture
from replay.errors import SidebeatError
from replay.event import Event

if TYPE_CHECKING:
    from collections.abc import Callable

    from analysis.session.record import Provenance, SessionRecord
    from analysis.statistics.efforts import Effort
    from replay.capture import EffectiveNotes
    from replay.plan import Plan


@dataclass(frozen=True, slots=True, eq=False)
class CaptureIndex:
    """``data``: the arrays, with the notes as they were when it was read.  ``board``: finished.
    ``arrivals``: times of all events by sensor and channel, ns, in order.
    """

    data: SessionData
    board: Board
    suggested: tuple[Suggestion, ...]
    arrivals: Mapping[tuple[int, str], array[int]]
    provenance: Provenance

    def before(self, sensor: int, channel: str, t_ns: int) -> int | None:
        """Time of the newest event of a sensor on a channel before ``t_ns``."""
        times = self.arrivals.get((sensor, channel), ())
        place = bisect_left(times, t_ns)
        return times[place - 1] if place else None


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """An index seen with the notes that count now."""

    data: SessionData
    record: SessionRecord
    efforts: tuple[Effort, ...]
    bookmarks: tuple[Bookmark, ...]


def read_index(path: Path) -> CaptureIndex:
    """Read a whole capture.  Raises as ``Capture.open`` and reading its events do."""
    arrivals: dict[tuple[int, str], array[int]] = {}

    def note(event: Event) -> None:
        arrivals.setdefault((event.sensor, event.channel), array("q")).append(event.t_ns)

    with Capture.open(path) as capture:
        data, board = session_of(capture, note)
        return CaptureIndex(data, board, suggestions(board), arrivals, provenance_of(capture))


def findings(index: CaptureIndex, plan: Plan, notes: EffectiveNotes, count: int = 0) -> Findings:
    """Numbers and bookmarks with these notes; the same as ``sidebeat analyse`` prints.

    ``plan``: with the labels that count now.  ``count``: of notes in the capture.
    """
    # On the thread that counts, not when the window opens: it loads all of the statistics.
    from analysis.session.compute import compute_record  # noqa: PLC0415 - see above

    data = with_notes(index.data, plan, notes)
    record = compute_record(
        data,
        index.board.warnings,
        counting(index.suggested, notes),
        replace(index.provenance, notes=count),
        failed_rules=index.board.failed_rules,
    )
    efforts = tuple(one for one in record.efforts if one.kind is EffortKind.EFFORT)
    return Findings(data, record, efforts, bookmarks_of(data, index.board, efforts))


class Job:
    """Work on a thread of its own; ``done`` is asked from the view's timer.

    ``result``: what it returned, ``None`` before or after an error; ``problem``: its sentence.
    """

    def __init__(self, work: Callable[[], object], name: str) -> None:
        self._work = work
        self.result: object = None
        self.problem = ""
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    @property
    def done(self) -> bool:
        """Whether it is over."""
        return not self._thread.is_alive()

    def wait(self) -> None:
        """Return when it is over."""
        self._thread.join()

    def _run(self) -> None:
        try:
            self.result = self._work()
        except SidebeatError as error:
            self.problem = str(error)
        except Exception as error:  # a fault in the numbers must not end the replay
            self.problem = f"{type(error).__name__}: {error}"
