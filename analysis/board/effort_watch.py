"""Efforts of the session so far, and what each test sensor made of them, as they happen.

The finder and the judgement are those of the analysis; here they are fed as the seconds close.
Stretches that are left out for the reference's own faults are gaps, as there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from analysis.board.snapshot import EffortCounts
from analysis.statistics.effort_finder import REACH_S, Effort, EffortFinder, EffortState
from analysis.statistics.efforts import (
    LAG_ALLOWED_S,
    LEAD_S,
    Answer,
    Response,
    respond,
    smoothed,
)

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState

JUDGED_AFTER_S: Final = LAG_ALLOWED_S + REACH_S
"""Seconds after its return from which on it is known what sensors made of an effort."""


class EffortWatch:
    """Told of each grid second when all sensors have closed it.

    What was not stamped on the reference's clock has been aligned by its own changes: it is not
    late.
    """

    def __init__(self, reference: SensorState, tests: Sequence[SensorState]) -> None:
        self._reference: Final = reference
        self._tests: Final = tuple(tests)
        self._answers: Final[dict[int, list[Response]]] = {test.number: [] for test in tests}
        self._finder = EffortFinder()
        self._waiting: Final[deque[Effort]] = deque()
        self._known = 0

    @property
    def efforts(self) -> Sequence[Effort]:
        """Those that have returned, in order."""
        return self._finder.efforts

    @property
    def state(self) -> EffortState | None:
        """Which effort, and since when; ``None`` before the first."""
        return self._finder.state

    def answers(self, number: int) -> Sequence[Response]:
        """What a test sensor made of the efforts that can be judged by now, in order."""
        return self._answers[number]

    def counts(self, number: int) -> EffortCounts:
        """The same, counted."""
        answers = [one.answer for one in self._answers[number]]
        return EffortCounts(
            *map(answers.count, (Answer.FOLLOWED, Answer.LATE, Answer.BLUNTED, Answer.MISSED))
        )

    def close_second(self, second: int) -> None:
        """Take the grid second that was just closed."""
        self._finder.push(self._reference.held[second])
        self._take_found()
        while self._waiting and second >= self._waiting[0].return_s + JUDGED_AFTER_S:
            self._judge(self._waiting.popleft())

    def finish(self) -> None:
        """The session has ended: take what has returned by then."""
        self._finder.finish()
        self._take_found()
        while self._waiting:
            self._judge(self._waiting.popleft())

    def _take_found(self) -> None:
        efforts = self._finder.efforts
        while self._known < len(efforts):
            self._waiting.append(efforts[self._known])
            self._known += 1

    def _judge(self, effort: Effort) -> None:
        first = max(0, effort.start_s - LEAD_S - REACH_S)
        last = effort.return_s + JUDGED_AFTER_S + 1
        moved = replace(
            effort,
            start_s=effort.start_s - first,
            peak_s=effort.peak_s - first,
            return_s=effort.return_s - first,
        )
        reference = smoothed(np.asarray(self._reference.grid.view[first:last]))
        for test in self._tests:
            answer = respond(moved, reference, smoothed(np.asarray(test.grid.view[first:last])))
            one_clock = self._reference.planned.shares_clock(test.planned)
            if answer.answer is Answer.LATE and not one_clock:
                answer = replace(answer, answer=Answer.FOLLOWED, delay_s=None)
            self._answers[test.number].append(answer)
