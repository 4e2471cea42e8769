"""From the board at one instant to the frame that every panel draws."""

from __future__ import annotations

from collections.abc import Mapping

from analysis.board.snapshot import Snapshot
from live.protocol.view_model import ViewModel
from live.views.window.live.reviewing import Review
from live.views.window.parts.chart import Chart
from live.views.window.parts.frame import Frame
from live.views.window.parts.span import TimeSpan
from live.views.window.parts.theme import SensorStyle, Theme
from live.views.window.parts.timeline import Timeline
from replay.plan import Plan


class Framing:
    """Keeps the drawable series in step with the board, and begins anew when a replay goes back."""

    def __init__(
        self, model: ViewModel, span: TimeSpan, chart: Chart, review: Review | None
    ) -> None:
        self._model = model
        self._span = span
        self._chart = chart
        self._review = review
        self._generation = model.generation
        self.timeline = Timeline(model.plan)

    def catch_up(self, plan: Plan) -> None:
        """Take what is new of the board."""
        if self._model.generation != self._generation:
            self._generation = self._model.generation
            self.timeline = Timeline(plan)
        self.timeline.catch_up(self._model.board)

    def frame(
        self,
        snapshot: Snapshot,
        plan: Plan,
        theme: Theme,
        styles: Mapping[int, SensorStyle],
        selected: int,
        *,
        hidden: frozenset[int] = frozenset(),
    ) -> Frame:
        """All that the parts need to draw this instant."""
        now_s, review = snapshot.t_ns / 1e9, self._review
        whole = review.whole if review is not None else None
        self._span.whole_s = float(whole.seconds) if whole is not None else 0.0
        self._span.room = self._chart.label_room
        self._span.pixels = self._chart.pixels
        start_s, end_s = self._span.at(now_s)
        return Frame(
            plan=plan,
            snapshot=snapshot,
            board=self._model.board,
            timeline=self.timeline,
            styles=styles,
            theme=theme,
            start_s=start_s,
            end_s=end_s,
            now_s=now_s,
            selected=selected,
            whole=whole,
            later=None if whole is None or review is None else review.warnings,
            noted=None if review is None else review.markers,
            halted=self._model.halted,
            is_stale=self._model.is_stale,
            hidden=hidden,
        )
