"""Faults that stand over what a sensor's agreement means: a relay, a twin, a frozen stretch.

Such a sensor may agree splendidly, or not at all, without ever having measured the heart.  It is
named first, and is neither compared with other sensors nor given an error of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from analysis.board.snapshot import SensorWarning, WarningKind
from analysis.session.record import StandingFault

LEAST_FROZEN_S: Final = 30
"""A frozen stretch that is shorter has hardly touched the statistics."""

_REPEATED: Final = (WarningKind.RELAY, WarningKind.SAME_SENSOR)


def standing_faults(warnings: Iterable[SensorWarning], seconds: int) -> tuple[StandingFault, ...]:
    """The standing faults of a session by sensor, from its warnings; ``seconds``: its length.

    A sensor that repeats another has that one, once; otherwise its frozen stretches of 30 s and
    more.
    """
    repeated: dict[int, StandingFault] = {}
    frozen: list[StandingFault] = []
    for warning in warnings:
        end = seconds if warning.end_s is None else warning.end_s
        fault = StandingFault(
            warning.sensor, warning.kind, warning.since_s, max(end, warning.since_s), warning.cause
        )
        if warning.kind in _REPEATED:
            repeated.setdefault(warning.sensor, fault)
        elif warning.kind is WarningKind.FROZEN and fault.seconds >= LEAST_FROZEN_S:
            frozen.append(fault)
    rest = (fault for fault in frozen if fault.sensor not in repeated)
    return tuple(sorted((*repeated.values(), *rest), key=lambda one: (one.sensor, one.start_s)))
