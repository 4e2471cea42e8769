"""A view's notifier: when to call, by its throttle, and the channels by which it calls."""

from __future__ import annotations

import logging
import math
import time
from collections.abc import Callable, Sequence
from typing import Final, Protocol

from live.notify.throttle import AlarmCall, AlarmThrottle, Call, Throttle
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from replay.event import NS_PER_S

SLACK_NS: Final = NS_PER_S
"""By how much session time may run ahead of real time in one look before it is called catching
up: a capture ticks four times a second, and a busy view takes several ticks at once."""

_log = logging.getLogger(__name__)


class Channel(Protocol):
    """One way of calling.  No call waits; none raises for what is only out of reach."""

    def call(self, call: Call | AlarmCall) -> None:
        """Call about one warning, or about the recording itself."""

    def tend(self) -> None:
        """Look after what was begun; called again and again."""

    def trouble(self) -> str:
        """One sentence about what cannot be done, once; empty if there is nothing new."""

    def close(self) -> None:
        """End what was begun."""


class Pace:
    """Tells the present from history: a view attached late is given all events at once.

    Real time is the caller's monotonic clock; UTC would be wrong where the clock is set.
    """

    def __init__(self) -> None:
        self._session_ns = 0
        self._real_ns: int | None = None

    def is_present(self, session_ns: int, real_ns: int, speed: float = 1.0) -> bool:
        """Whether session time has run no faster than ``speed`` times real time since the last
        question.
        """
        passed_ns = 0 if self._real_ns is None else real_ns - self._real_ns
        gained_ns = session_ns - self._session_ns
        self._session_ns, self._real_ns = session_ns, real_ns
        return gained_ns <= speed * (passed_ns + SLACK_NS)


class Notifier:
    """Looks at a view's model after each ``pump`` and calls by its channels.

    ``only_in_front``: be silent while the capture says that another view is in front.  A replay is
    never behind; what it passes over on the way to another moment calls nobody.
    """

    def __init__(
        self,
        channels: Sequence[Channel],
        *,
        only_in_front: bool = False,
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._channels = list(channels)
        self._only_in_front = only_in_front
        self._clock = clock
        self._pace = Pace()
        self._throttle: Throttle | None = None
        self._alarms = AlarmThrottle()
        self._generation = -1
        self._ended = False
        self._troubles: list[str] = []

    def look(self, model: ViewModel) -> None:
        """Call whom it concerns; never raises."""
        try:
            self._look(model)
            self._look_at_alarm(model)
            for channel in self._channels:
                channel.tend()
                if trouble := channel.trouble():
                    self._troubles.append(trouble)
        except Exception:
            # A view goes on drawing, whatever befalls its sounds; once is enough to say so.
            _log.exception("the notifier has failed and stops")
            self.close()

    def trouble(self) -> str:
        """The oldest sentence that was not yet taken about what cannot be done; usually empty."""
        return self._troubles.pop(0) if self._troubles else ""

    def close(self) -> None:
        """End what was begun."""
        channels, self._channels = self._channels, []
        for one in channels:
            one.close()

    def _look(self, model: ViewModel) -> None:
        if self._throttle is None or model.generation != self._generation:
            self._throttle = Throttle(model.plan.attention)
            self._generation = model.generation
            self._ended = False
            if not model.feed.is_live:
                self._throttle.look(0.0, [])  # a replay begins with its beginning
        if self._ended:
            return
        warnings = model.board.warnings
        t_ns = model.board.now_ns
        if self._is_present(model, t_ns) and not self._is_behind(model):
            self._call_all(self._throttle.look(t_ns / NS_PER_S, warnings))
        else:
            self._throttle.rest()
        if model.ended is not None:
            self._ended = True
            self._call_all(self._throttle.finish(warnings))

    def _look_at_alarm(self, model: ViewModel) -> None:
        """The recording itself: no quiet time and no acknowledged warning holds this back."""
        self._call_all(
            self._alarms.look(
                model.alarm,
                is_known=model.alarm_is_known or self._is_behind(model),
                at_s=model.board.now_ns / NS_PER_S,
                real_s=self._clock() / NS_PER_S,
            )
        )

    def _is_present(self, model: ViewModel, t_ns: int) -> bool:
        speed = 1.0
        if isinstance(model.feed, FileFeed):
            # Flat out, a jump looks like playing on.
            speed = math.inf if model.feed.speed is None else model.feed.speed
            if model.feed.catching_up:
                return False
        return self._pace.is_present(t_ns, self._clock(), speed)

    def _is_behind(self, model: ViewModel) -> bool:
        if not (self._only_in_front and model.feed.is_live):
            return False
        return model.status is None or not model.status.in_front

    def _call_all(self, calls: Sequence[Call | AlarmCall]) -> None:
        for call in calls:
            for channel in self._channels:
                channel.call(call)
