"""Where on the capture clock an imported file belongs, by what, and how that is told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.session.clock_doubt import BY_HEART
from analysis.statistics.alignment import (
    SEARCH_S,
    Alignment,
    ReadingSeries,
    align,
    comparable,
    mean_difference_bpm,
)
from analysis.statistics.delay import SURE_HALF_INTERVAL_S
from analysis.statistics.presses import offset_of_presses
from live.cli.import_signals import SessionSignals
from replay.capture import Capture
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import PayloadError, SidebeatError
from replay.event import FILE_HEART_RATE, NS_PER_S
from replay.files.importing import ImportedSensor, planned
from replay.files.series import SIGNALS, FileSeries
from replay.payloads import HeartRate, encode_file_heart_rate
from replay.plan import CAPTURE_CLOCK, NOT_ALIGNED, PlannedSensor

NO_DELAY: Final = (
    "An offset of the clock and a delay of the sensor look alike: no delay is given for this "
    "sensor."
)
DELAY_NO_SURER: Final = "The delay of this sensor can be told no better than that."
NO_DELAY_EITHER: Final = (
    "No delay is given for this sensor: its clock is known no better than that."
)
NOT_COMPARED: Final = (
    "It is shown and not compared: --one-clock (one computer stamped the files) or --offset-s says "
    "how its clock stands."
)
_SIGNAL_HOLD_NS: Final = 10 * NS_PER_S
BY_PRESSES: Final = "lap presses and markers"

Signal = tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Session:
    """What a file is placed in: its span in UTC, and the reference on it (``None``: none yet).

    ``signals``: other signals, and ``presses_ns``: lap presses and markers, with times in UTC.
    ``zero_ns``: where the time 0 of a file lies whose times count from its start, if the clock of
    the session stamped it.  ``is_dated``: whether UTC is known; else the session starts at 0.
    """

    started_utc_ns: int
    duration_ns: int
    reference: ReadingSeries | None
    signals: Mapping[str, Signal] = field(default_factory=dict)
    presses_ns: tuple[int, ...] = ()
    zero_ns: int | None = None
    is_dated: bool = True


def session_of(capture: Capture) -> Session:
    """The session that a capture holds."""
    number, started = capture.plan.reference, capture.started_utc_ns
    times, values = [], []
    signals = SessionSignals(capture.plan)
    for event in capture.events():
        if event.sensor == number and event.channel in HEART_RATE_CHANNELS:
            mbpm = _valid(event.channel, event.payload)
            if mbpm is not None:
                times.append(event.t_ns + started)
                values.append(mbpm)
        else:
            signals.take(event)
    reference = ReadingSeries(
        np.array(times, dtype=np.int64),
        np.array(values, dtype=np.int32),
        capture.plan.sensor(number).hold_ns,
    )
    markers = (t_ns for t_ns, _ in capture.effective_notes.markers)
    return Session(
        started, capture.duration_ns, reference,
        {name: (t_ns + started, values) for name, (t_ns, values) in signals.found().items()},
        tuple(sorted(t_ns + started for t_ns in (*signals.markers_ns, *markers))),
        is_dated=capture.is_dated,
    )  # fmt: skip


def session_around(reference: ImportedSensor) -> Session:
    """The session that a reference file spans, from its first whole second on."""
    series, shift = reference.series, reference.shift_ns
    started = (series.times_ns[0] + shift) // NS_PER_S * NS_PER_S
    return Session(
        started,
        series.times_ns[-1] + shift - started,
        readings_of(series, shift),
        {name: (t_ns + shift, values) for name, (t_ns, values) in series.signals.items()},
        tuple(press + shift for press in _presses_ns(series)),
        None if series.anchored else shift,
        is_dated=series.anchored,
    )


def readings_of(series: FileSeries, shift_ns: int) -> ReadingSeries:
    """The valid readings of a file, with its times moved by ``shift_ns``."""
    times, values = [], []
    for time, text in zip(series.times_ns, series.values, strict=True):
        mbpm = _valid(FILE_HEART_RATE, encode_file_heart_rate(text, series.unit))
        if mbpm is not None:
            times.append(time + shift_ns)
            values.append(mbpm)
    return ReadingSeries(
        np.array(times, dtype=np.int64),
        np.array(values, dtype=np.int32),
        round(series.hold_s * NS_PER_S),
    )


def placed(
    series: FileSeries,
    sensor: PlannedSensor,
    session: Session | None,
    offset_s: float | None,
    *,
    one_clock: bool = False,
) -> ImportedSensor:
    """The file in its place: by the tester's word, by what it and the session hold, or as it is.

    ``session``: ``None`` for the file that itself makes the session.  ``one_clock``: the clock of
    the session stamped it.
    """
    said = series.sentences()
    found, by, alignment, shift_s = None, "", "", offset_s or 0.0
    is_dated = series.anchored and (session is None or session.is_dated)
    origin_ns = 0 if is_dated else _zero_ns(series, session, shift_s, one_clock=one_clock)
    if one_clock:
        alignment = "one clock"
        sensor = replace(sensor, clock=CAPTURE_CLOCK)
        said.append("One clock stamped it and the session: nothing is shifted.")
        if offset_s:
            alignment = "by hand"
            said[-1] = f"{offset_s:+g} s are added to its times, by hand; one clock stamped them."
    elif offset_s is not None:
        alignment = "by hand"
        said.append(f"{offset_s:+g} s are added to its times, by hand. {NO_DELAY}")
    elif session is None:
        alignment = "own clock"
    else:
        found, by = _found(series, session, origin_ns, is_dated=is_dated)
        said += _told(found, by)
        if found.offset_s is None:
            alignment = NOT_ALIGNED
            said.append(
                "Its own times are taken as they are."
                if is_dated
                else "Its first reading is put at the session's start."
                if series.anchored
                else "Its time 0 is put at the session's start."
            )
            said.append(NOT_COMPARED)
        else:
            alignment = "estimated" if found.offset_s else "confirmed"
            shift_s = found.offset_s
            said.append(_delay_told(found, by))
    facts = alignment_facts(found, by)
    if session is not None and session.reference is not None and found is not None:
        effect = _effect(session.reference, readings_of(series, origin_ns), shift_s)
        facts |= effect
        said += _effect_told(effect, shift_s, by)
    return ImportedSensor(
        series=series,
        sensor=planned(series, sensor, offset_s=shift_s, alignment=alignment),
        origin_ns=origin_ns,
        found=facts,
        said=tuple(said),
    )


def _zero_ns(
    series: FileSeries, session: Session | None, offset_s: float, *, one_clock: bool
) -> int:
    """Where the time 0 of a file lies whose times, or those of its session, have no date.

    Of the file that makes the session, such that its first reading lies in second 0.
    """
    first = series.times_ns[0]
    if session is None:
        return -((first + round(offset_s * NS_PER_S)) // NS_PER_S * NS_PER_S)
    if series.anchored:  # the date says nothing where the session has none
        if one_clock:
            raise SidebeatError(
                f"{series.path}: its times have a date and those of the reference have none, so "
                "that one clock cannot have stamped both; --start says when the reference began"
            )
        return session.started_utc_ns - first
    if one_clock and session.zero_ns is not None:
        return session.zero_ns
    return session.started_utc_ns


def _found(
    series: FileSeries, session: Session, origin_ns: int, *, is_dated: bool
) -> tuple[Alignment, str]:
    """The first answer, of what both hold: presses, then other signals, the heart last.

    ``is_dated``: whether the file's own time counts for something.
    """
    presses = _presses_ns(series)
    if presses and session.presses_ns:
        zero = session.started_utc_ns
        pressed = offset_of_presses(
            (np.array(session.presses_ns, dtype=np.int64) - zero) / NS_PER_S,
            (np.array(presses, dtype=np.int64) + origin_ns - zero) / NS_PER_S,
            within_s=SEARCH_S,
        )
        if pressed is not None:
            offset, interval, _ = pressed
            holds_zero = is_dated and interval[0] <= 0 <= interval[1]
            return Alignment(0.0 if holds_zero else round(offset, 2), interval), BY_PRESSES
    for name in SIGNALS:
        own, theirs = series.signals.get(name), session.signals.get(name)
        if own is None or theirs is None:
            continue
        signal = align(
            *comparable([theirs, (own[0] + origin_ns, own[1])], _SIGNAL_HOLD_NS),
            near=is_dated,
        )
        if signal.offset_s is not None and signal.is_unique:
            return signal, name
    if session.reference is None:
        return Alignment(None, problem="there is no reference"), BY_HEART
    return (
        align(session.reference, readings_of(series, origin_ns), near=is_dated), BY_HEART
    )  # fmt: skip


def _delay_told(found: Alignment, by: str) -> str:
    if by == BY_HEART:
        return NO_DELAY
    doubt_s = max(abs(end - (found.offset_s or 0.0)) for end in found.interval or (0.0,))
    return DELAY_NO_SURER if doubt_s <= SURE_HALF_INTERVAL_S else NO_DELAY_EITHER


def _told(found: Alignment, by: str) -> list[str]:
    told = found.sentences()
    if found.offset_s is not None:
        told.insert(1, f"Found by {'the ' if by == BY_HEART else ''}{by}.")
    return told


def _effect(
    reference: ReadingSeries, test: ReadingSeries, offset_s: float
) -> dict[str, float | None]:
    """MAE before and after the shift, in bpm, over the whole seconds that both have."""
    before, after = (mean_difference_bpm(reference, test, shift) for shift in (0.0, offset_s))
    return {
        "mae_as_recorded_bpm": None if before is None else round(before, 2),
        "mae_aligned_bpm": None if after is None else round(after, 2),
    }


def _effect_told(effect: Mapping[str, float | None], offset_s: float, by: str) -> list[str]:
    before, after = effect["mae_as_recorded_bpm"], effect["mae_aligned_bpm"]
    if not offset_s or after is None:
        return []
    was = "no pair" if before is None else f"{before:.1f} bpm"
    least = (
        " A shift found by the heart rate makes it about as small as it can be."
        if by == BY_HEART
        else ""
    )
    return [
        "By this the mean absolute difference from the reference changes from "
        f"{was} to {after:.1f} bpm.{least}"
    ]


def alignment_facts(found: Alignment | None, by: str) -> dict[str, object]:
    """What was found, as plain values; all ``None`` where it was not looked for."""
    if found is None:
        names = alignment_facts(Alignment(None), "")
        return dict.fromkeys(names)
    return {
        "aligned_by": by if found.offset_s is not None else None,
        "offset_s_interval": found.interval and [round(end, 2) for end in found.interval],
        "explained_percent": (
            None if found.unexplained is None else round(100 * (1 - found.unexplained), 1)
        ),
        "rival_offset_s": found.rival_s,
        "unique": found.is_unique if found.offset_s is not None else None,
        "slip_s": found.slip_s,
        "problem": found.problem,
        "mae_as_recorded_bpm": None,
        "mae_aligned_bpm": None,
    }


def _presses_ns(series: FileSeries) -> tuple[int, ...]:
    """The moments at which a lap was begun, but the first, which is the start of the recording."""
    return tuple(lap.from_ns for lap in series.laps[1:])


@lru_cache(maxsize=4096)  # a file repeats some hundred
def _valid(channel: str, payload: bytes) -> int | None:
    try:
        reading = decode(channel, payload)
    except PayloadError:
        return None
    return reading.valid_mbpm if isinstance(reading, HeartRate) else None
