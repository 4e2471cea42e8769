"""One heart-rate series from a file, whatever its format: in order, counted, and no more.

Nothing is made up and nothing is smoothed: rows without a time or without a heart rate cannot be
readings and are counted; the rest is put in order of time.  The values stay text as they stood.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Final, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from replay.errors import PayloadError
from replay.event import NS_PER_S
from replay.files.times import FARTHEST_NS
from replay.payloads import decode_file_heart_rate, encode_file_heart_rate
from replay.plan import DEFAULT_HOLD_S
from replay.text import grouped

HOLD_PER_SPACING: Final = 1.2
"""A value stands until the next one is a fifth of the usual spacing overdue."""
LONGEST_HOLD_S: Final = 20.0
"""Devices that save space keep a value every 5 to 15 s; a heart can change by 20 bpm in more."""
USUAL_SHARE: Final = 0.95
"""Share of the spacings up to which they are the file's own; rarer ones are pauses."""
STOP_S: Final = 10.0
"""A device that writes no record at all for longer was paused; a sensor that has lost the heart
leaves records without one."""
LONGEST_S: Final = 48 * 3600.0
"""No session is longer; times that lie further apart are not of one session."""
_PAUSE_S: Final = 60.0
"""No device samples more rarely during an activity: a longer spacing says nothing about it."""


SIGNALS: Final = ("power", "cadence", "speed", "altitude")
"""What a record may hold beside the heart, by which clocks can be aligned; in any unit."""


_Reading: TypeAlias = tuple[int, str, tuple[float, ...]]
"""Time in ns, the value as it stood, RR intervals."""


_NONE: Final[Mapping[str, float]] = MappingProxyType({})


class Row(NamedTuple):
    """One record as it stood: ``time_ns`` or ``value`` may be missing.

    ``rr_ms``: the RR intervals that belong to it.  ``signals``: of :data:`SIGNALS`, what it holds.
    """

    time_ns: int | None
    value: str | None
    rr_ms: tuple[float, ...] = ()
    signals: Mapping[str, float] = _NONE


@dataclass(frozen=True, slots=True)
class Lap:
    """A stretch that the device kept apart: begin and end on the file's clock in ns, its name."""

    from_ns: int
    to_ns: int
    name: str = ""


@dataclass(frozen=True, slots=True)
class RawSeries:
    """What a parser found.

    ``kind``: ``FIT``, ``TCX``, ``GPX`` or ``CSV``.  ``anchored``: times are ns since 1970, UTC;
    otherwise ns since the file's own start.  ``remarks``: sentences for the tester.  ``device``,
    ``firmware``: what the file says of its maker, in words.  ``signals``: of a table, times in ns
    and values of :data:`SIGNALS`, where a row of its own for each would take too much memory.
    """

    kind: str
    rows: Sequence[Row]
    unit: str = "bpm"
    anchored: bool = True
    remarks: tuple[str, ...] = ()
    laps: tuple[Lap, ...] = ()
    device: str = ""
    firmware: str = ""
    signals: Mapping[str, tuple[array[int], array[float]]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of the rows.

    ``rows``: records in the file; of these ``no_time`` and ``no_heart_rate`` hold no reading and
    ``duplicated`` say the same again.  ``unordered``: rows that stood after a later one.
    ``conflicting``: rows with the time of another one and a different value; both are kept.
    """

    rows: int
    no_time: int = 0
    no_heart_rate: int = 0
    duplicated: int = 0
    unordered: int = 0
    conflicting: int = 0

    def sentences(self) -> list[str]:
        """What the tester should know, one short sentence for each count that is not 0."""
        told = (
            (self.no_time, "dropped: no time"),
            (self.no_heart_rate, "dropped: no heart rate"),
            (self.duplicated, "dropped: the same time and value stood there already"),
            (self.unordered, "out of order: sorted by time"),
            (self.conflicting, "with the time of another row and a different value: both kept"),
        )
        return [f"{plural(count, 'row')} {what}." for count, what in told if count]


@dataclass(frozen=True, slots=True)
class FileSeries:
    """The readings of one file, in order of time.

    ``times_ns``: see :class:`RawSeries`.  ``values``: text as it stood.  ``spacing_s``: the
    spacing that 95 % of the readings keep to.  ``hold_s``: how long a value may stand.
    ``pauses``: stretches longer than that without a reading, ``paused_s`` in all.  ``rr_ms``: of
    each reading, or empty if the file has none.  ``signals``: times in ns, in order, and values.
    ``laps``, ``device``, ``firmware``: see :class:`RawSeries`.  ``stops_ns``: from and to, where
    the device wrote no record of any kind for longer than :data:`STOP_S`: it was paused.
    """

    path: Path
    kind: str
    sha256: str
    times_ns: tuple[int, ...]
    values: tuple[str, ...]
    unit: str
    anchored: bool
    counts: Counts
    remarks: tuple[str, ...]
    spacing_s: float
    hold_s: float
    pauses: int
    paused_s: float
    rr_ms: tuple[tuple[float, ...], ...] = ()
    signals: Mapping[str, tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]] = field(
        default_factory=dict
    )
    laps: tuple[Lap, ...] = ()
    device: str = ""
    firmware: str = ""
    stops_ns: tuple[tuple[int, int], ...] = ()

    @property
    def span_s(self) -> float:
        """From the first reading to the last."""
        return (self.times_ns[-1] - self.times_ns[0]) / NS_PER_S if self.times_ns else 0.0

    def sentences(self) -> list[str]:
        """Everything about the file that the tester should know."""
        told = [*self.counts.sentences(), *self.remarks]
        if self.hold_s != DEFAULT_HOLD_S:
            told.append(
                f"A value every {self.spacing_s:g} s: each is held for up to {self.hold_s:g} s."
            )
        if self.pauses:
            told.append(
                f"{plural(self.pauses, 'pause')} without a reading, {self.paused_s:.0f} s in all."
            )
        return told


def settle(path: Path, sha256: str, raw: RawSeries) -> FileSeries:
    """Put the rows in order and count what is dropped.  Never raises; there may be none left."""
    timed = [row for row in raw.rows if row.time_ns is not None and abs(row.time_ns) < FARTHEST_NS]
    kept = list(_with_value(timed))
    unordered = _unordered(time for time, *_ in kept)
    readings, duplicated, conflicting = _without_repetitions(
        sorted(kept, key=lambda reading: reading[0])
    )
    times = tuple(time for time, *_ in readings)
    spacing_s, hold_s = spacing_of(times)
    pauses = [(b - a) / NS_PER_S for a, b in pairwise(times) if b - a > hold_s * NS_PER_S]
    return FileSeries(
        path=path,
        kind=raw.kind,
        sha256=sha256,
        times_ns=times,
        values=tuple(value for _, value, _ in readings),
        unit=raw.unit,
        anchored=raw.anchored,
        counts=Counts(
            rows=len(raw.rows),
            no_time=len(raw.rows) - len(timed),
            no_heart_rate=len(timed) - len(kept),
            duplicated=duplicated,
            unordered=unordered,
            conflicting=conflicting,
        ),
        remarks=raw.remarks,
        spacing_s=spacing_s,
        hold_s=hold_s,
        pauses=len(pauses),
        paused_s=sum(pauses),
        rr_ms=_rr_of(readings),
        signals={
            name: found
            for name in SIGNALS
            if (found := _signal(timed, raw.signals.get(name), name)) is not None
        },
        laps=raw.laps,
        device=raw.device,
        firmware=raw.firmware,
        stops_ns=_stops(timed, hold_s),
    )


def _with_value(rows: Iterable[Row]) -> Iterator[_Reading]:
    for row in rows:
        value = (row.value or "").strip()
        if row.time_ns is not None and value:
            yield row.time_ns, value, row.rr_ms


def _unordered(times: Iterable[int]) -> int:
    """How many come before one that stood above them."""
    latest, unordered = -(2**63), 0
    for time in times:
        unordered += time < latest
        latest = max(latest, time)
    return unordered


def _rr_of(readings: Sequence[_Reading]) -> tuple[tuple[float, ...], ...]:
    """The RR intervals of each reading; empty if none has any."""
    rr = tuple(rr for *_, rr in readings)
    return rr if any(rr) else ()


def _stops(rows: Iterable[Row], hold_s: float) -> tuple[tuple[int, int], ...]:
    times = sorted(row.time_ns for row in rows if row.time_ns is not None)
    least = max(STOP_S, hold_s) * NS_PER_S
    return tuple((a, b) for a, b in pairwise(times) if b - a > least)


def _signal(
    rows: Iterable[Row], column: tuple[array[int], array[float]] | None, name: str
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]] | None:
    if column is not None:
        at, value = np.array(column[0], dtype=np.int64), np.array(column[1], dtype=np.float64)
        order = np.lexsort((value, at))
        return at[order], value[order]
    found = sorted(
        (row.time_ns, row.signals[name])
        for row in rows
        if row.time_ns is not None and name in row.signals
    )
    if not found:
        return None
    times, values = zip(*found, strict=True)
    return np.array(times, dtype=np.int64), np.array(values, dtype=np.float64)


def plural(count: int, noun: str) -> str:
    """``1 row``, ``1 200 rows``."""
    return f"{grouped(count)} {noun}" + ("" if count == 1 else "s")


def _without_repetitions(kept: Iterable[_Reading]) -> tuple[list[_Reading], int, int]:
    readings: list[_Reading] = []
    duplicated = conflicting = 0
    at, there = None, set[str]()
    for reading in kept:
        time, value, _ = reading
        if time != at:
            at, there = time, set()
        if value in there:
            duplicated += 1
            continue
        conflicting += bool(there)
        there.add(value)
        readings.append(reading)
    return readings, duplicated, conflicting


def spacing_of(times: Sequence[int] | npt.NDArray[np.int64]) -> tuple[float, float]:
    """The usual spacing and the age limit that goes with it, in s.

    ``times``: ns, never decreasing.
    """
    stamps = np.asarray(times, dtype=np.int64)
    spacings = (stamps[1:] - stamps[:-1]) / NS_PER_S
    spacings = np.sort(spacings[(spacings > 0) & (spacings <= _PAUSE_S)])
    if not len(spacings):
        return 0.0, DEFAULT_HOLD_S
    usual = float(spacings[math.ceil(USUAL_SHARE * len(spacings)) - 1])
    hold = min(math.ceil(HOLD_PER_SPACING * usual), LONGEST_HOLD_S)
    return round(usual, 3), max(DEFAULT_HOLD_S, float(hold))


@lru_cache(maxsize=4096)
def is_valid(text: str, unit: str) -> bool:
    """Whether this text is a heart rate that may be compared; a file repeats some hundred."""
    try:
        reading = decode_file_heart_rate(encode_file_heart_rate(text, unit))
    except PayloadError:
        return False
    return reading.valid_mbpm is not None
