"""For a kind of warning: a session with its fault, one with less of it, and what must be said."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import Final

from analysis.board.snapshot import Measure
from replay.event import Event
from replay.plan import Plan
from tests.standins.kinds.streams import Streams
from tests.standins.session_events import S, plan_of, planned

PLAN: Final = plan_of(
    planned("Yarrow", "reference", placement="chest"),
    planned("Sorrel", placement="left wrist"),
    planned("Tansy", placement="right wrist"),
)
WITH_STRIDES: Final = plan_of(*PLAN.sensors, planned("Strides", "companion"))
ON_AN_ARM: Final = plan_of(
    planned("Yarrow", "reference", placement="upper arm", kind="arm"), *PLAN.sensors[1:]
)

OVER_MQTT: Final = plan_of(
    PLAN.sensors[0],
    *(
        replace(one, source="mqtt", topic=f"gym/{one.label}/hr", address="", name="")
        for one in PLAN.sensors[1:]
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """``made``: the streams, with the fault or with what is just not one.  ``sensor``: whose.

    ``since_s``, ``raised_s``, ``over_s``: the seconds of its beginning, of raising and of the end.
    ``told``, ``cleared``: the two sentences.  ``measures``: the values behind, as of the newest
    second at which the fault was there.  All exact, so that a threshold that moves is noticed.
    ``forgets``: whether :meth:`Rule.reset` takes the evidence away; else why there is none to
    forget.  ``known_from_s``: where the fault begins, for what can only be told against a sensor's
    own past.
    """

    made: Callable[[bool], Streams]
    since_s: int
    raised_s: int
    over_s: int
    told: str
    cleared: str
    measures: tuple[Measure, ...]
    sensor: int = 2
    forgets: bool = True
    why_not: str = ""
    known_from_s: int = 0
    until_s: int = 400
    plan: Plan = PLAN

    @property
    def played_s(self) -> int:
        """So far it is played: all is well from ``over_s`` on, and stays so for a minute."""
        return min(self.until_s, self.over_s + 60)

    def events(self, bad: bool) -> list[Event]:
        """What is played, in order of time: with the fault, or with what is just not one."""
        merged = heapq.merge(*self.made(bad), key=lambda event: event.t_ns)
        return list(takewhile(lambda event: event.t_ns <= self.played_s * S, merged))


PRESENT: Final = "it judges what is so now, and keeps nothing"
