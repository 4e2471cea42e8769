"""FIT activity files, read by ``fitdecode``."""

from __future__ import annotations

import io
import struct
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from replay.errors import ActivityFileError
from replay.event import NS_PER_S
from replay.files.series import Lap, RawSeries, Row
from replay.files.times import utc_ns

if TYPE_CHECKING:
    from fitdecode import FitDataMessage


_SIGNAL_FIELDS: Final[Mapping[str, tuple[str, ...]]] = {
    "power": ("power",),
    "cadence": ("cadence",),
    "speed": ("enhanced_speed", "speed"),
    "altitude": ("enhanced_altitude", "altitude"),
}
_RR_S: Final = 65.0
"""An RR is 16 bits of ms; the highest stands for none."""
_OLDEST_NS: Final = 0x10000000 * NS_PER_S
"""Below this a timestamp counts from power-up (FIT protocol); a date since 1970 is above."""


def read_fit(path: Path, data: bytes, start_ns: int | None = None) -> RawSeries:
    """The heart rate of every ``record`` message, or the beats of the ``hr`` messages.

    ``hrv`` messages give the RR of the record before them.  A device that never had the time
    counts seconds since it was switched on; ``start_ns``: UTC of the first of these.  A file that
    breaks off or whose checksum is wrong gives what stands before, with a remark.  Raises
    :class:`ActivityFileError` if nothing can be read, or if ``fitdecode`` is missing.
    """
    try:
        import fitdecode  # noqa: PLC0415 - an optional dependency
    except ModuleNotFoundError:
        raise missing_parser(path, "FIT") from None

    found = _Messages()
    remark = ""
    # It has something for some types of values, and nothing for any field or unit by its name: it
    # would look in vain, for each value.
    processor = fitdecode.DefaultDataProcessor()
    processor.on_process_field = processor.on_process_unit = _as_it_is
    try:
        with fitdecode.FitReader(
            io.BytesIO(data),
            processor=processor,
            check_crc=fitdecode.CrcCheck.RAISE,
            error_handling=fitdecode.ErrorHandling.IGNORE,
        ) as reader:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage):
                    found.take(frame)
    except fitdecode.FitCRCError:
        remark = "The checksum of the file is wrong: part of it may be damaged."
    except fitdecode.FitEOFError:
        remark = "The file breaks off: what stands before is used."
    except (
        fitdecode.FitError,
        ValueError,
        LookupError,
        TypeError,
        ArithmeticError,
        AssertionError,
        AttributeError,
        struct.error,
    ) as error:
        # The parser's own checks are few; a damaged file may make it stumble anywhere.
        remark = (
            f"The file is damaged ({error or type(error).__name__}): what stands before is used."
        )
    if remark and not (found.records or found.beats):
        raise ActivityFileError(f"{path}: this FIT file is damaged, and no record can be read")
    return found.series((remark,) if remark else (), start_ns)


def _as_it_is(_reader: object, _field: object) -> None:
    """Leave a value as its type has it."""


class _Messages:
    """What the messages of one file say, as they come."""

    def __init__(self) -> None:
        self.records: list[Row] = []
        self.beats: list[Row] = []
        self._laps: list[Lap] = []
        self._device: list[str] = []
        self._firmware = ""
        self._clocked = 0
        self._first_tick: int | None = None
        self._anchor: tuple[int, float] | None = None

    def take(self, message: FitDataMessage) -> None:
        """One message, of whatever kind."""
        match message.name:
            case "record":
                self.records.append(self._record(message))
            case "hrv":
                self._add_rr(message)
            case "hr":
                self._add_beats(message)
            case "lap":
                self._add_lap(message)
            case "file_id":
                # The name of the product's field depends on the maker.
                named = [f.value for f in message.fields if f.name.endswith("product_name")]
                named += [f.value for f in message.fields if f.name.endswith("product")]
                words = [message.get_value("manufacturer", fallback=None), *named[:1]]
                self._device = [str(word) for word in words if word is not None]
            case "device_info" | "file_creator":
                first = message.get_value("device_index", fallback="creator")
                version = message.get_value("software_version", fallback=None)
                if version is not None and str(first) in ("creator", "0") and not self._firmware:
                    self._firmware = str(version)

    def series(self, remarks: tuple[str, ...], start_ns: int | None) -> RawSeries:
        """All of it as one series."""
        rows = self.records
        if self.beats and not any(row.value for row in rows):
            rows = [*self.beats, *rows]
            remarks = (*remarks, "Its heart rate is that of the beats that the strap had stored.")
        anchored = True
        if rows and not self._clocked and self._first_tick is not None:
            first = self._first_tick * NS_PER_S
            anchored = start_ns is not None
            rows = [
                row._replace(time_ns=row.time_ns - first + (start_ns or 0))
                if row.time_ns is not None
                else row
                for row in rows
            ]
            remarks = (*remarks, "Its clock was never set: its times count from its start.")
        elif self._first_tick is not None:  # some with a date, some without: these have no time
            rows = [
                row._replace(time_ns=None)
                if row.time_ns is not None and row.time_ns < _OLDEST_NS
                else row
                for row in rows
            ]
        return RawSeries(
            "FIT",
            rows,
            anchored=anchored,
            remarks=remarks,
            laps=tuple(self._laps),
            device=" ".join(self._device),
            firmware=self._firmware,
        )

    def _record(self, message: FitDataMessage) -> Row:
        moment = message.get_value("timestamp", fallback=None)
        value = message.get_value("heart_rate", fallback=None)
        signals = {}
        for name, fields in _SIGNAL_FIELDS.items():
            for one in fields:
                number = message.get_value(one, fallback=None)
                if isinstance(number, (int, float)):
                    signals[name] = float(number)
                    break
        return Row(self._time(moment), None if value is None else str(value), signals=signals)

    def _time(self, moment: object) -> int | None:
        if isinstance(moment, datetime) and moment.tzinfo:
            self._clocked += 1
            return utc_ns(moment)
        if isinstance(moment, int):  # seconds since the device was switched on
            if self._first_tick is None:
                self._first_tick = moment
            return moment * NS_PER_S
        return None

    def _add_rr(self, message: FitDataMessage) -> None:
        times = message.get_value("time", fallback=None)
        listed = times if isinstance(times, (list, tuple)) else (times,)
        rr = tuple(round(1000 * t, 3) for t in listed if isinstance(t, (int, float)) and t < _RR_S)
        if rr and self.records:
            last = self.records[-1]
            self.records[-1] = last._replace(rr_ms=last.rr_ms + rr)

    def _add_beats(self, message: FitDataMessage) -> None:
        moment = message.get_value("timestamp", fallback=None)
        ticks = _listed(message, "event_timestamp")
        rates = _listed(message, "filtered_bpm")
        if isinstance(moment, datetime) and moment.tzinfo and ticks:
            fraction = message.get_value("fractional_timestamp", fallback=0) or 0
            self._anchor = (utc_ns(moment) + round(float(fraction) * NS_PER_S), ticks[0])
        if self._anchor is None:
            return
        zero_ns, zero = self._anchor
        for tick, rate in zip(ticks, rates, strict=False):
            self._clocked += 1
            at = zero_ns + round((tick - zero) * NS_PER_S)
            self.beats.append(Row(at, str(round(rate))))

    def _add_lap(self, message: FitDataMessage) -> None:
        begin = message.get_value("start_time", fallback=None)
        end = message.get_value("timestamp", fallback=None)
        if isinstance(begin, datetime) and isinstance(end, datetime) and begin < end:
            self._laps.append(Lap(utc_ns(begin), utc_ns(end), f"lap {len(self._laps) + 1}"))


def _listed(message: FitDataMessage, name: str) -> list[float]:
    """All values of a field, whether it is an array, repeated by expansion, or both."""
    values: list[float] = []
    for one in message.get_fields(name):
        listed = one.value if isinstance(one.value, (list, tuple)) else (one.value,)
        values += [float(value) for value in listed if isinstance(value, (int, float))]
    return values


def missing_parser(path: Path, kind: str) -> ActivityFileError:
    """The sentence for a parser that is not installed."""
    return ActivityFileError(
        f"{path}: reading {kind} files needs packages that are not installed: "
        "pip install 'sidebeat[files]'"
    )
