"""What every panel is given to draw from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.board.snapshot import SensorStatus, SensorWarning, Snapshot
from live.views.window.parts.columns import Floats
from live.views.window.parts.theme import SensorStyle, Theme
from live.views.window.parts.timeline import Timeline
from replay.plan import Plan

if TYPE_CHECKING:
    from analysis.board import Board, Marker


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture's worth of knowledge.

    ``now_s``: the newest instant; ``start_s`` and ``end_s``: the visible stretch, all in seconds
    since the session began.  ``selected``: number of the test sensor in the agreement plane.
    ``whole``, ``later`` and ``noted``: of a recorded session, what is drawn beyond ``now_s`` under
    a veil: all lines, all warnings and all markers; none while recording.  ``halted``: stands
    in place of each link's state while the recording is over unasked or in danger; ``is_stale``:
    the values stand still with it.  ``hidden``: test sensors that are not drawn in the time
    panels; their cards, lanes and warnings stay.
    """

    plan: Plan
    snapshot: Snapshot
    board: Board
    timeline: Timeline
    styles: Mapping[int, SensorStyle]
    theme: Theme
    start_s: float
    end_s: float
    now_s: float
    selected: int
    whole: Timeline | None = None
    later: Sequence[SensorWarning] | None = None
    noted: Sequence[Marker] | None = None
    halted: str = ""
    is_stale: bool = False
    hidden: frozenset[int] = frozenset()

    @property
    def drawn_tests(self) -> list[int]:
        """Numbers of the test sensors that the time panels draw."""
        return [number for number in self.plan.tests if number not in self.hidden]

    @property
    def drawn_sensors(self) -> list[int]:
        """The same with the reference, which is always drawn."""
        return [number for number in self.plan.compared if number not in self.hidden]

    @property
    def lines(self) -> Timeline:
        """What the time panels draw."""
        return self.whole or self.timeline

    @property
    def lane_warnings(self) -> Sequence[SensorWarning]:
        """The warnings that stand on the time axis."""
        return self.board.warnings if self.later is None else self.later

    @property
    def markers(self) -> Sequence[Marker]:
        """The markers that stand on the time axis, in order."""
        return self.board.markers if self.noted is None else self.noted

    @property
    def drawn_to_s(self) -> float:
        """Where what is drawn ends: the newest closed second, or the end of the recording."""
        second = self.snapshot.second
        return float(max(second if self.whole is None else self.whole.seconds - 1, second, 0))

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
