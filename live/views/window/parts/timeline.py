"""Everything drawable of one session, kept up to date without going over the board again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from live.views.window.parts.counts import PairCounts
from live.views.window.parts.gaps import GapRuns
from live.views.window.parts.series import DifferenceSeries, DoubtfulReadings, ReadingSeries
from replay.plan import Plan

if TYPE_CHECKING:
    from analysis.board import Board


class Timeline:
    """Series, differences, gaps, doubtful readings and counts by number in the plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.readings = {n: ReadingSeries(plan.sensor(n).hold_ns) for n in plan.compared}
        self.differences = {n: DifferenceSeries() for n in plan.tests}
        self.gaps = {n: GapRuns() for n in plan.compared}
        self.counts = {n: PairCounts() for n in plan.tests}
        self.doubtful = {n: DoubtfulReadings() for n in plan.tests}
        self.seconds = 0

    def catch_up(self, board: Board) -> None:
        """Take what the board has got since the last call."""
        ref = board.grid(self.plan.reference)
        self.seconds = len(ref)
        for number in self.plan.compared:
            self.readings[number].catch_up(*board.series(number))
            self.gaps[number].catch_up(board.grid(number))
        for number in self.plan.tests:
            test = board.grid(number)
            self.differences[number].catch_up(ref, test)
            self.counts[number].catch_up(ref, test)
            self.doubtful[number].catch_up(board.sensor(number).doubtful, *board.series(number))
