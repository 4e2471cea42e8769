"""What every panel is given to draw from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from live.board.snapshot import SensorStatus, SensorWarning, Snapshot
from live.window.columns import Floats
from live.window.theme import Look, Theme
from live.window.timeline import Timeline
from replay.plan import Plan

if TYPE_CHECKING:
    from live.board import Board


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture's worth of knowledge.

    ``now_s``: the newest instant; ``start_s`` and ``end_s``: the visible stretch, all in seconds
    since the session began.  ``selected``: number of the test sensor in the agreement plane.
    """

    plan: Plan
    snapshot: Snapshot
    board: Board
    timeline: Timeline
    looks: Mapping[int, Look]
    theme: Theme
    start_s: float
    end_s: float
    now_s: float
    selected: int

    @property
    def warnings(self) -> Sequence[SensorWarning]:
        """All warnings so far, in order of start."""
        return self.board.warnings

    def status(self, number: int) -> SensorStatus:
        """The card's facts of one sensor."""
        return self.snapshot.sensors[number - 1]

    def tolerance(self, ref_bpm: Floats) -> Floats:
        """Allowed difference in bpm at each value of the reference, float64[n]."""
        share = self.plan.tolerance_percent / 100
        wide: Floats = np.maximum(self.plan.tolerance_bpm, share * ref_bpm)
        return wide
