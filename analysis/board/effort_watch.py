"""Efforts of the session so far, and what each test sensor made of them, as they happen.

The finder and the judgement are those of the analysis; here they are fed as the seconds close.
Stretches that are left out for the reference's own faults are gaps, as there.  That a stretch was
bad is found after it began: the finder goes back to it then, and what was made of the efforts in it
is taken back, so that in the end there are those that the analysis counts.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.board.snapshot import EffortCounts
from analysis.statistics.effort_finder import REACH_S, Effort, EffortFinder, EffortState
from analysis.statistics.efforts import (
    LAG_ALLOWED_S,
    LEAD_S,
    Answer,
    FloatArray,
    Response,
    respond,
    smoothed,
)
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState

JUDGED_AFTER_S: Final = LAG_ALLOWED_S + REACH_S
"""Seconds after its return from which on it is known what sensors made of an effort."""


class EffortWatch:
    """Told of each grid second when all sensors have closed it.

    What was not stamped on the reference's clock has been aligned by its own changes: it is not
    late.  ``changes``: how often answers have come or gone.
    """

    def __init__(self, reference: SensorState, tests: Sequence[SensorState]) -> None:
        self._reference: Final = reference
        self._tests: Final = tuple(tests)
        self._answers: Final[dict[int, list[Response]]] = {test.number: [] for test in tests}
        self._counts: Final[dict[int, EffortCounts]] = {}  # until an answer comes or goes
        self.changes = 0
        self._finder = EffortFinder()
        self._waiting: deque[Effort] = deque()
        self._left_out = bytearray()

    @property
    def efforts(self) -> Sequence[Effort]:
        """Those that have returned, in order."""
        return self._finder.efforts

    @property
    def finder(self) -> EffortFinder:
        """What finds them, to be read only."""
        return self._finder

    @property
    def state(self) -> EffortState | None:
        """Which effort, and since when; ``None`` before the first."""
        return self._finder.state

    def answers(self, number: int) -> Sequence[Response]:
        """What a test sensor made of the efforts that can be judged by now, in order."""
        return self._answers[number]

    def counts(self, number: int) -> EffortCounts:
        """The same, counted."""
        counts = self._counts.get(number)
        if counts is None:
            answers = [one.answer for one in self._answers[number]]
            counts = self._counts[number] = EffortCounts(
                *map(answers.count, (Answer.FOLLOWED, Answer.LATE, Answer.BLUNTED, Answer.MISSED))
            )
        return counts

    def delay_s(self, number: int) -> float | None:
        """Median delay of a test sensor at the efforts judged so far; ``None`` if none tells it."""
        told = [one.delay_s for one in self._answers[number] if one.delay_s is not None]
        return median(told) if told else None

    def close_second(self, second: int, *, left_out: bool) -> None:
        """Take the grid second that was just closed; ``left_out``: whether it is likely to be."""
        efforts = self._finder.efforts
        known = len(efforts)
        self._push(second, left_out=left_out)
        if len(efforts) > known:
            self._waiting.extend(efforts[known:])
        if self._waiting:
            self._judge_those_before(second)

    def correct(self, left_out: Callable[[int], bool], first: int | None) -> None:
        """What is left out of the closed seconds by now; ``first``: the first of those that were
        not before, ``None`` for none.
        """
        newest = len(self._left_out) - 1
        was_out = self._left_out[newest]
        if first is None:
            if not was_out or left_out(newest):
                return
            first = newest
        elif was_out and first == newest:
            return
        before = list(self._finder.efforts)
        for second in range(self._finder.rewind(first), newest + 1):
            self._push(second, left_out=left_out(second))
        efforts = self._finder.efforts
        kept = 0
        for one, other in zip(before, efforts, strict=False):
            if one != other or one.return_s + JUDGED_AFTER_S >= first:
                break
            kept += 1
        self._counts.clear()
        self.changes += 1
        judged = len(before) - len(self._waiting)
        for answers in self._answers.values():
            del answers[kept:]
        self._waiting = deque(efforts[min(kept, judged) :])
        self._judge_those_before(newest)

    def finish(self) -> None:
        """The session has ended: take what has returned by then."""
        known = len(self._finder.efforts)
        self._finder.finish()
        self._waiting.extend(self._finder.efforts[known:])
        while self._waiting:
            self._judge(self._waiting.popleft())

    def _push(self, second: int, *, left_out: bool) -> None:
        if second == len(self._left_out):
            self._left_out.append(left_out)
        else:
            self._left_out[second:] = bytes([left_out])
        self._finder.push(NO_VALUE if left_out else self._reference.held[second])

    def _judge_those_before(self, second: int) -> None:
        while self._waiting and second >= self._waiting[0].return_s + JUDGED_AFTER_S:
            self._judge(self._waiting.popleft())

    def _judge(self, effort: Effort) -> None:
        self._counts.clear()
        self.changes += 1
        first = max(0, effort.start_s - LEAD_S - REACH_S)
        last = effort.return_s + JUDGED_AFTER_S + 1
        moved = replace(
            effort,
            start_s=effort.start_s - first,
            peak_s=effort.peak_s - first,
            return_s=effort.return_s - first,
        )
        left_out = np.frombuffer(bytes(self._left_out[first:last]), dtype=np.bool_)

        def kept(sensor: SensorState) -> FloatArray:
            return smoothed(np.where(left_out, NO_VALUE, sensor.grid.view[first:last]))

        reference = kept(self._reference)
        for test in self._tests:
            answer = respond(moved, reference, kept(test))
            one_clock = self._reference.planned.shares_clock(test.planned)
            if answer.answer is Answer.LATE and not one_clock:
                answer = replace(answer, answer=Answer.FOLLOWED, delay_s=None)
            self._answers[test.number].append(answer)
