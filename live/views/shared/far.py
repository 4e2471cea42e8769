"""The rules of the far view: who stands in which row, in which words, and what of it calls.

The window paints them to be read from 4 m away, the page to be read on a handlebar.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Protocol

from analysis.board.snapshot import SensorStatus, SensorWarning, Snapshot
from analysis.report.words import clock, number
from analysis.statistics.effort_finder import EffortState
from live.notify.brief import brief
from replay.event import SESSION
from replay.link_state import LinkState
from replay.plan import Plan

HEAD: Final = 0.13
"""Height of the line above the rows, in shares of the whole."""
SHOWN_S: Final = 180.0
"""So much of the past stands beside the numbers."""
_ROOMY: Final = 4
"""So many rows have digits of the full size; beyond, only those at fault have."""
_TALLEST: Final = 0.29
_TALL: Final = 0.2175

LINK_WORDS: Final = {
    LinkState.WAITING: "waiting to start",
    LinkState.SEARCHING: "searching for it",
    LinkState.QUEUED: "waiting for its turn",
    LinkState.CONNECTING: "connecting",
    LinkState.PREPARING: "preparing",
    LinkState.STREAMING: "streaming",
    LinkState.QUIET: "linked, but silent",
    LinkState.LOST: "link lost, trying again",
    LinkState.REFUSED: "refused, trying slowly",
    LinkState.ADAPTER_OFF: "adapter or broker off",
    LinkState.FILE: "from a file",
    LinkState.STOPPED: "stopped",
}


class Sight(Protocol):
    """One instant of a session, as far as the far view goes.

    ``halted``: stands in place of each link's state while the recording is over unasked or in
    danger; ``is_stale``: the values stand still with it.
    """

    @property
    def plan(self) -> Plan:
        """Who is compared with whom."""

    @property
    def snapshot(self) -> Snapshot:
        """What the board knows."""

    @property
    def halted(self) -> str:
        """Why nothing is recorded safely; else empty."""

    @property
    def is_stale(self) -> bool:
        """Whether what is shown is no longer of now."""


def gravest(warnings: Sequence[SensorWarning], sensor: int) -> SensorWarning | None:
    """The open warning of a sensor that matters most."""
    return next((w for w in warnings if w.sensor == sensor), None)


def effort_words(state: EffortState | None) -> str:
    """``effort 3 · 1:24`` while it lasts, ``after effort 3 · 0:40`` behind it."""
    if state is None:
        return ""
    return f"{'' if state.under_way else 'after '}effort {state.number} · {clock(state.for_s)}"


def head_words(sight: Sight, effort: str) -> str:
    """What stands above the rows: what the session needs, else the effort, else what it is."""
    warning = gravest(sight.snapshot.open_warnings, SESSION)
    if warning is not None:
        return brief(warning, sight.plan).large
    return effort or f"{sight.plan.activity} · {sight.plan.wearer}"


def rows_of(sight: Sight) -> list[tuple[int, float]]:
    """The sensors from the top, each with its row's share of the height.

    Up to four in the usual order.  Of more, those at fault come first and are as tall as one of
    four, as far as there is room; the others share the rest.
    """
    numbers = sight.plan.compared
    room = 1 - HEAD
    if len(numbers) <= _ROOMY:
        height = min(room / len(numbers), _TALLEST)
        return [(number, height) for number in numbers]
    faulty = [n for n in numbers if _calls(sight, n)][: _ROOMY - 1]
    others = [n for n in numbers if n not in faulty]
    small = (room - _TALL * len(faulty)) / len(others)
    return [(n, _TALL) for n in faulty] + [(n, small) for n in others]


def is_up(status: SensorStatus) -> bool:
    """Whether its link stands."""
    return status.link.is_up or status.link is LinkState.FILE


def is_well(sight: Sight) -> bool:
    """Whether nothing is to be said beside the numbers."""
    up = all(is_up(_status(sight, n)) for n in sight.plan.compared)
    return up and not (sight.is_stale or sight.halted or sight.snapshot.open_warnings)


def has_nothing_to_say(sight: Sight, number: int) -> bool:
    """Whether a row is well though not all are: its last minutes stand where else a fault would."""
    silent = not (sight.is_stale or sight.halted) and is_up(_status(sight, number))
    return silent and standing(sight, number) is None


def standing(sight: Sight, number: int) -> SensorWarning | None:
    """The gravest warning of a sensor, while time goes on."""
    return None if sight.is_stale else gravest(sight.snapshot.open_warnings, number)


def trouble_words(sight: Sight, number: int) -> str:
    """What stands in the place of a warning: why nothing is recorded, or the state of its link."""
    status = _status(sight, number)
    return sight.halted or ("" if is_up(status) else LINK_WORDS[status.link])


def call(sight: Sight, status: SensorStatus) -> tuple[str, str]:
    """The verdict in one word, and what stands beside it."""
    if sight.is_stale:
        return "–", "no news"
    if status.role == "reference":
        return ("REF", "") if status.held_bpm is not None else ("REF", "no value")
    if status.within is None or status.difference_bpm is None:
        return "–", "no pair"
    return ("IN" if status.within else "OUT"), number(status.difference_bpm, 0, sign=True)


def bpm_words(sight: Sight, status: SensorStatus) -> str:
    """The value at the last second of the grid, or a dash."""
    return "–" if status.held_bpm is None or sight.is_stale else f"{status.held_bpm:.0f}"


def _status(sight: Sight, number: int) -> SensorStatus:
    return sight.snapshot.sensors[number - 1]


def _calls(sight: Sight, number: int) -> bool:
    warning = gravest(sight.snapshot.open_warnings, number)
    return warning is not None or (_status(sight, number).within is False and not sight.is_stale)
