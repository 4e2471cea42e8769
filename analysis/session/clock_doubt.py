"""How surely the clock of a test sensor is known against the reference's, for its delay.

One clock stamped both, or something other than the heart (cadence, lap presses …) showed how the
two clocks stand: then a delay is the sensor's own, as surely as the clocks are known.  A file that
was laid where its heart rate fits best has had its delay taken out with the offset of its clock.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from analysis.session.load import SensorSeries, SessionData
from analysis.statistics.delay import SURE_HALF_INTERVAL_S
from analysis.statistics.estimate import Estimate
from replay.plan import CAPTURE_CLOCK, PlannedSensor

BY_HEART: Final = "heart rate"
"""What a file was aligned by where nothing else showed how its clock stands."""

BY_ARRIVAL: Final = (
    "It is reckoned by arrival, on the clock of the recording, so what the network adds is part of "
    "it; a sender's own times are kept, but how its clock stands to that one is not known."
)
"""On the delay of a sensor whose messages carry a time."""

MOST_UNPLACED: Final = 10
"""Of so many readings one may have come from a clock that is not known."""

_MEASURED: Final = ("estimated", "confirmed")


def clock_doubt_s(data: SessionData, test: SensorSeries) -> float | None:
    """Half of the 95 % interval of what may be left between the two clocks, in s.

    ``None``: that and the delay of the sensor cannot be told apart, or not well enough.
    """
    if test.sensor.shares_clock(data.reference.sensor):
        return 0.0 if _is_placed(data.reference) and _is_placed(test) else None
    doubts = [_doubt(data, one) for one in (data.reference, test)]
    known = [doubt for doubt in doubts if doubt is not None]
    both = math.hypot(*known)
    return both if len(known) == len(doubts) and both <= SURE_HALF_INTERVAL_S else None


def aligned_by(data: SessionData, series: SensorSeries) -> str:
    """What an imported sensor was aligned by, in words; empty where nothing was."""
    return str(data.imports.get(series.number, {}).get("aligned_by") or "")


def with_clock_doubt(delay: Estimate, doubt_s: float, by: str) -> Estimate:
    """A delay whose interval knows of the clocks, with the sentence on what it was measured by.

    >>> with_clock_doubt(Estimate(5.0, (4.6, 5.4)), 0.3, "cadence").interval
    (4.5, 5.5)
    """
    if delay.value is None or delay.interval is None or not by:
        return delay
    low, high = delay.interval
    interval = (
        delay.value - math.hypot(delay.value - low, doubt_s),
        delay.value + math.hypot(high - delay.value, doubt_s),
    )
    said = (
        f"Its clock was set by {by}, and the interval knows of that; what one device shows later "
        "than the other there is part of the delay."
    )
    return replace(delay, interval=interval, caution=delay.caution or said)


def with_senders_clock(delay: Estimate, *sensors: PlannedSensor) -> Estimate:
    """A delay with the sentence on which clock it rests on, where the sender of one of its two
    sensors told a time of its own too.
    """
    told = any(sensor.message is not None and sensor.message.time for sensor in sensors)
    if delay.value is None or not told:
        return delay
    # Where something stands against the delay itself, that is what has to be said.
    return replace(delay, caution=delay.caution or BY_ARRIVAL)


def _is_placed(series: SensorSeries) -> bool:
    """Whether it is known when its readings happened, on the capture's clock."""
    if series.sensor.source != "node":
        return True
    return series.unplaced * MOST_UNPLACED <= len(series.t_ns)


def _doubt(data: SessionData, series: SensorSeries) -> float | None:
    """Of one clock against the capture's."""
    sensor = series.sensor
    own = sensor.alignment == "own clock"  # of files alone: it is the capture's clock
    if own or sensor.on_capture_clock or sensor.clock == CAPTURE_CLOCK:
        return 0.0
    ends = data.imports.get(series.number, {}).get("offset_s_interval")
    if sensor.alignment not in _MEASURED or aligned_by(data, series) in ("", BY_HEART):
        return None
    if not isinstance(ends, list) or not all(isinstance(end, (int, float)) for end in ends):
        return None
    return max((abs(end - sensor.offset_s) for end in ends), default=None)
