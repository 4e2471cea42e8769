"""What the page shows of one instant: the far view's rows and words as plain values for JSON.

Pure.  Values are cut into keys of which few change from one second to the next, so that what is
sent to a phone is little.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.board import Board
from analysis.board.snapshot import SensorWarning, Severity, Snapshot
from analysis.report.words import INVENTED, clock
from live.notify.board_messages import advice_elsewhere
from live.notify.brief import brief
from live.protocol.view_model import ViewModel, late_words, rules_off
from live.views.shared.far import (
    SHOWN_S,
    bpm_words,
    call,
    effort_words,
    gravest,
    head_words,
    is_well,
    rows_of,
    standing,
    trouble_words,
)
from live.views.shared.palette import SensorStyle, sensor_styles
from replay.event import NS_PER_S, SESSION
from replay.plan import Plan

SECONDS: Final = int(SHOWN_S)
"""Length of the drawing."""
MOST_WARNINGS: Final = 12
"""As many of those that stand are listed."""

State = dict[str, object]
"""By key; each value is plain JSON."""
Point = tuple[int, list[float | None]]
"""A second of the grid and the bpm of each compared sensor at it, ``None`` in a gap."""


@dataclass(frozen=True, slots=True)
class Instant:
    """One instant of a model, as :class:`live.views.shared.far.Sight` wants it."""

    plan: Plan
    snapshot: Snapshot
    halted: str
    is_stale: bool


class PageFacts:
    """Makes the page's state of a model after each ``pump``."""

    def __init__(self, plan: Plan) -> None:
        self._styles = sensor_styles(plan)
        self._points: deque[Point] = deque(maxlen=SECONDS + 1)
        self._generation = 0
        self._next = 0

    def state(self, model: ViewModel, faults: int) -> State:
        """Everything but the drawing.  ``faults``: what went wrong in the page itself."""
        snapshot, plan = model.snapshot(), model.plan
        sight = Instant(plan, snapshot, model.halted, model.is_stale)
        rows = [number for number, _ in rows_of(sight)]
        warning = gravest(snapshot.open_warnings, SESSION)
        calls = warning is not None and warning.calls
        state: State = {
            "session": {
                "wearer": plan.wearer,
                "activity": plan.activity,
                "invented": INVENTED if snapshot.invented else "",
                "tolerance_bpm": plan.tolerance_bpm,
                "tolerance_percent": plan.tolerance_percent,
                "seconds": SECONDS,
                "compared": [{"number": n, "sign": _sign(self._styles[n])} for n in plan.compared],
            },
            "time": clock(snapshot.t_ns / NS_PER_S),
            "head": {
                "words": head_words(sight, effort_words(snapshot.effort)),
                "calls": calls and not sight.is_stale,
            },
            "well": is_well(sight),
            "stale": sight.is_stale,
            "ended": _ended(model),
            "alarm": _alarm(model),
            "rows": rows,
            "warnings": [_warning(one, plan) for one in snapshot.open_warnings[:MOST_WARNINGS]],
            "more_warnings": max(len(snapshot.open_warnings) - MOST_WARNINGS, 0),
            "notes": _notes(model, faults),
        }
        for number in rows:
            state[f"row {number}"] = _row(sight, number)
        return state

    def points(self, board: Board, generation: int) -> list[Point]:
        """The last minutes, second by second, as far as they are closed."""
        if generation != self._generation:  # another board: nothing of before belongs to it
            self._generation, self._next = generation, 0
            self._points.clear()
        compared = board.plan.compared
        newest = board.second
        first = max(self._next, newest - SECONDS)
        if first <= newest:
            columns = [np.asarray(board.grid(n)[first : newest + 1]) for n in compared]
            self._points.extend(
                (second, [_bpm(int(column[second - first])) for column in columns])
                for second in range(first, newest + 1)
            )
            self._next = newest + 1
        return list(self._points)


def _bpm(mbpm: int) -> float | None:
    return None if mbpm < 0 else round(mbpm / 1000, 1)


def _sign(style: SensorStyle) -> dict[str, object]:
    return {"shape": style.shape.value, "colour": style.index, "dashed": style.dashed}


def _row(sight: Instant, number: int) -> State:
    status, warning = sight.snapshot.sensors[number - 1], standing(sight, number)
    word, detail = call(sight, status)
    return {
        "label": status.label,
        "placement": status.placement,
        "call": word,
        "detail": detail,
        "bpm": bpm_words(sight, status),
        "large": "" if warning is None else brief(warning, sight.plan).large,
        "advice": "" if warning is None else advice_elsewhere(warning),
        "known": warning is not None and not warning.calls,
        "severity": "" if warning is None else _severity(warning),
        "trouble": trouble_words(sight, number) if warning is None else "",
    }


def _severity(warning: SensorWarning) -> str:
    if warning.severity >= Severity.REFERENCE_FAULT:
        return "alarm"
    return "caution" if warning.severity is Severity.TEST_FAULT else "notice"


def _warning(warning: SensorWarning, plan: Plan) -> State:
    who = "session" if warning.sensor == SESSION else plan.sensor(warning.sensor).label
    return {
        "sensor": warning.sensor,
        "kind": warning.kind.value,
        "who": who,
        "since": clock(warning.since_s),
        "cause": warning.cause,
        "advice": advice_elsewhere(warning),
        "severity": _severity(warning),
        "calls": warning.calls,
    }


def _alarm(model: ViewModel) -> State | None:
    """Its sentence names files, and stays on the screen of the recording."""
    alarm = model.alarm
    return None if alarm is None else {"headline": alarm.headline, "advice": alarm.advice}


def _ended(model: ViewModel) -> str:
    """How the recording has ended, in the words of the capture; empty while it goes on."""
    return "" if model.ended is None else model.ended.reason


def _notes(model: ViewModel, faults: int) -> Sequence[str]:
    """What else every view says of itself."""
    own = model.faults + faults
    return [
        words
        for words in (
            f"errors in this page: {own}; the recording is not affected" if own else "",
            rules_off(model.snapshot()),
            late_words(model.board.late),
            model.status.trouble if model.status is not None else "",
        )
        if words
    ]
