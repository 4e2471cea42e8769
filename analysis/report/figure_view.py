"""What of a session its figures show, so that one picture tells one thing.

Which test sensors, from when to when, on which clock, with the tolerance's band or without, and
which of them the eye is led to.  Axes and colours do not depend on the sensors chosen: pictures of
one sensor after the other can be laid beside each other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Final

from analysis.report.palette import LIGHT
from analysis.report.sensor_signs import SensorSign
from analysis.report.words import clock, clock_step, listed, zone_text
from analysis.session.record import SessionRecord
from replay.errors import SidebeatError
from replay.event import NS_PER_S


class AxisClock(StrEnum):
    """What the time axis counts."""

    ELAPSED = "elapsed"
    UTC = "utc"
    LOCAL = "local"


@dataclass(frozen=True, slots=True)
class FigureView:
    """``sensors``: numbers of the test sensors that are shown, all if empty.  ``highlighted``:
    those in their colours, all if empty.  ``start_s``, ``end_s``: the stretch of the session on
    time axes, ``None`` for its ends.  ``band``: whether the tolerance is drawn.
    """

    sensors: frozenset[int] = frozenset()
    highlighted: frozenset[int] = frozenset()
    start_s: int | None = None
    end_s: int | None = None
    clock: AxisClock = AxisClock.ELAPSED
    band: bool = True

    def shows(self, number: int) -> bool:
        """Whether a test sensor is drawn."""
        return not self.sensors or number in self.sensors

    def leads_to(self, number: int) -> bool:
        """Whether a test sensor has its colour, or stands back in grey."""
        return not self.highlighted or number in self.highlighted

    def colour(self, number: int, sign: SensorSign) -> str:
        """Of a test sensor with this sign."""
        return LIGHT[sign.colour if self.leads_to(number) else "faint"]

    def span_s(self, seconds: int) -> tuple[int, int]:
        """From and to on the time axis of a session of so many grid seconds."""
        last = max(seconds - 1, 1)
        start = min(max(self.start_s or 0, 0), last - 1)
        end = last if self.end_s is None else min(self.end_s, last)
        return start, max(end, start + 1)

    def of_axis(self, record: SessionRecord, most: int) -> tuple[dict[int, str], str]:
        """Round times with their words, by second of the session, and the axis's name."""
        start, end = self.span_s(record.seconds)
        step = clock_step(end - start, most)
        if self.clock is AxisClock.ELAPSED:
            ticks = range(-(-start // step) * step, end + 1, step)
            return {at: clock(at) for at in ticks}, "time since the start, min:s"
        began = _began(record, self.clock)
        of_day = began.hour * 3600 + began.minute * 60 + began.second
        first = -(-(of_day + start) // step) * step - of_day
        form = "%H:%M" if step % 60 == 0 else "%H:%M:%S"
        words = {
            at: f"{began + timedelta(seconds=at):{form}}" for at in range(first, end + 1, step)
        }
        return words, f"time of day ({zone_text(began)})"

    def words(self, record: SessionRecord, *, timed: bool) -> str:
        """What is not the whole session with all its sensors, for the heading; else empty.

        ``timed``: whether the figure shows a stretch; agreement is always of the whole session.
        """
        said = []
        if self.sensors:
            said.append(listed([str(record.label(number)) for number in sorted(self.sensors)]))
        if timed and (self.start_s is not None or self.end_s is not None):
            start, end = self.span_s(record.seconds)
            said.append(f"{clock(start)} to {clock(end)} of {clock(record.seconds - 1)}")
        return ", ".join(said)


WHOLE: Final = FigureView()
"""All sensors, from the start to the end."""


def view_of(
    record: SessionRecord,
    *,
    sensors: tuple[str, ...] = (),
    highlight: tuple[str, ...] = (),
    start: str = "",
    end: str = "",
    clock: AxisClock = AxisClock.ELAPSED,
    band: bool = True,
) -> FigureView:
    """A view from what somebody typed: labels of sensors, and times as the axis shows them.

    Times are ``m:ss`` or ``h:mm:ss`` since the start, or seconds; with a clock of the day they are
    ``hh:mm`` or ``hh:mm:ss``.  Raises :class:`SidebeatError` for a label or a time that the session
    does not have.
    """
    if clock is not AxisClock.ELAPSED and not record.provenance.started_utc_ns:
        raise SidebeatError("nobody knows when this session was recorded: only the elapsed time")
    labels = {one.label: one.number for one in record.sensors}
    numbers = [frozenset(_number(label, labels) for label in chosen)
               for chosen in (sensors, highlight)]  # fmt: skip
    read: Callable[[str], int] = _elapsed
    if clock is not AxisClock.ELAPSED:
        began = _began(record, clock)

        def read(text: str) -> int:
            return _since(began, text)

    first, last = (read(text) if text else None for text in (start, end))
    begin, until = first or 0, record.seconds if last is None else last
    if not 0 <= begin < min(until, record.seconds):
        raise SidebeatError(
            f"the figures would show nothing from {start or 'the start'} to {end or 'the end'}: "
            f"the session lasts {_clock_text(record, clock)}"
        )
    return FigureView(numbers[0], numbers[1], first, last, clock, band)


def _number(label: str, labels: Mapping[str, int]) -> int:
    for known, number in labels.items():
        if known.casefold() == label.casefold():
            return number
    raise SidebeatError(f"{label!r} is no test sensor of this session: {', '.join(labels)}")


def _clock_text(record: SessionRecord, which: AxisClock) -> str:
    if which is AxisClock.ELAPSED:
        return f"from 0:00 to {clock(record.seconds - 1)}"
    began = _began(record, which)
    ended = began + timedelta(seconds=record.seconds - 1)
    return f"from {began:%H:%M:%S} to {ended:%H:%M:%S} ({zone_text(began)})"


def _elapsed(text: str) -> int:
    """Seconds of ``h:mm:ss``, ``m:ss`` or ``s``."""
    parts = text.split(":")
    if not 1 <= len(parts) <= 3 or not all(part.isdecimal() for part in parts):
        raise SidebeatError(f"{text!r} is no time: write m:ss, h:mm:ss or seconds since the start")
    seconds = 0
    for part in parts:
        seconds = 60 * seconds + int(part)
    return seconds


def _since(began: datetime, text: str) -> int:
    """Seconds from the start to a time of the day, on the next day if it is earlier."""
    for form in ("%H:%M:%S", "%H:%M"):
        try:
            time = datetime.strptime(text, form).time()
        except ValueError:
            continue
        moment = began.replace(hour=time.hour, minute=time.minute, second=time.second)
        seconds = round((moment - began).total_seconds())
        return seconds if seconds >= -_BEFORE_S else seconds + 86_400
    raise SidebeatError(f"{text!r} is no time of the day: write hh:mm or hh:mm:ss")


_BEFORE_S: Final = 43_200
"""A time up to half a day before the start is meant as one before it."""


def _began(record: SessionRecord, which: AxisClock) -> datetime:
    moment = datetime.fromtimestamp(record.provenance.started_utc_ns // NS_PER_S, tz=UTC)
    return moment if which is AxisClock.UTC else moment.astimezone()
