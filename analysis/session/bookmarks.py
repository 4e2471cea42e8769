"""Places in a capture that are worth going to: warnings, markers, efforts, gaps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from analysis.board import Board
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.session.load import SessionData
    from analysis.statistics.efforts import Effort


class BookmarkKind(StrEnum):
    """What happened there."""

    WARNING = "warning"
    MARKER = "marker"
    EFFORT = "effort"
    GAP = "gap"


@dataclass(frozen=True, slots=True, order=True)
class Bookmark:
    """``t_ns``: capture time to go to; ``end_ns``: where it is over, the same for a marker.

    What happens at a grid second is seen right after it, when the board has closed it.
    """

    t_ns: int
    end_ns: int
    kind: BookmarkKind
    text: str
    sensor: int = 0


def bookmarks_of(
    data: SessionData, board: Board, efforts: Iterable[Effort] = ()
) -> tuple[Bookmark, ...]:
    """All of a session, in order of time.

    Warnings stand where they were raised; efforts at the start of the rise (marked ones where
    the tester has marked any); gaps at their first second, those of test sensors and reference.
    """
    end_ns = data.duration_ns
    plan = data.plan
    found = [
        Bookmark(
            warning.start_s * NS_PER_S + 1,
            end_ns if warning.end_s is None else warning.end_s * NS_PER_S,
            BookmarkKind.WARNING,
            f"{warning.kind}: {plan.sensor(warning.sensor).label if warning.sensor else 'session'}",
            warning.sensor,
        )
        for warning in board.warnings
    ]
    found += [Bookmark(t_ns, t_ns, BookmarkKind.MARKER, text) for t_ns, text in data.markers]
    found += [
        Bookmark(
            effort.start_s * NS_PER_S + 1,
            effort.return_s * NS_PER_S,
            BookmarkKind.EFFORT,
            f"effort {number}",
        )
        for number, effort in enumerate(efforts, 1)
    ]
    for series in data.sensors.values():
        found += [
            Bookmark(
                gap.start_s * NS_PER_S + 1,
                gap.end_s * NS_PER_S,
                BookmarkKind.GAP,
                f"gap: {series.sensor.label}, {gap.seconds} s",
                series.number,
            )
            for gap in series.gaps
        ]
    return tuple(sorted(found))


def next_bookmark(bookmarks: Iterable[Bookmark], kind: BookmarkKind, t_ns: int) -> Bookmark | None:
    """The first of this kind after ``t_ns``, ``None`` behind the last."""
    return next((m for m in bookmarks if m.kind is kind and m.t_ns > t_ns), None)


def previous_bookmark(
    bookmarks: Iterable[Bookmark], kind: BookmarkKind, t_ns: int
) -> Bookmark | None:
    """The last of this kind before ``t_ns``, ``None`` before the first."""
    earlier = [m for m in bookmarks if m.kind is kind and m.t_ns < t_ns]
    return earlier[-1] if earlier else None
