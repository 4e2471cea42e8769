"""A log of notifications of several sensors, all stamped by one clock, as one recording.

Read row by row into plain arrays (some 30 bytes a row), put in order of time, counted.  What a
sensor sent is kept as the standard payload (2A37): the bytes where the log has them, else made of
bpm, RR (rounded to 1/1024 s) and contact.  A value with decimals that came without RR and contact
is kept as text.  Nothing is left out without being counted.
"""

from __future__ import annotations

import hashlib
import math
from array import array
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path
from typing import IO, Final

import numpy as np
import numpy.typing as npt

from replay.errors import ActivityFileError, ColumnsUnclear
from replay.event import FILE_HEART_RATE, HEART_RATE, NS_PER_S, Event
from replay.files.log_rows import (
    SAMPLED_ROWS,
    Columns,
    Notification,
    columns_of,
    count_reading,
    device_column,
    notification,
    open_text,
    table_of,
)
from replay.files.series import LONGEST_S, plural, spacing_of
from replay.files.table import BPM_NAMES, TIME_NAMES, TableOptions
from replay.files.times import (
    ELAPSED,
    FARTHEST_NS,
    YEARS,
    TimeReader,
    guess_format,
    start_named,
    zone_named,
)
from replay.files_only import open_file
from replay.plan import DEFAULT_HOLD_S

MOST_SENSORS: Final = 32
"""More names than this in the column of the sensors: it is another column."""
_FROM_ZERO_S: Final = 60.0
"""A log whose first time lies within this of 0 is counted from the session's start."""
_CHANNELS: Final = (HEART_RATE, FILE_HEART_RATE)
_LONGEST_PAYLOAD: Final = 0xFFFF

_SENTENCES: Final[Mapping[str, str]] = {
    "no_time": "dropped: no time that can be read",
    "no_heart_rate": "dropped: no heart rate, RR or contact that can be read",
    "duplicated": "dropped: the same time and content stood there already",
    "unordered": "after a later one of the same sensor: sorted by time",
    "conflicting": "with the time of another one and other content: both kept",
    "malformed": "with a payload that the standard does not allow: kept as it stood",
    "no_payload": "with a payload that is not hexadecimal: made of the other columns",
    "beats_only": "with RR or contact but no heart rate: kept, with a heart rate of 0",
    "zero": "with a heart rate of 0: kept, not compared",
    "without_contact": "without contact: kept, not compared",
    "out_of_range": "outside 25 to 240 bpm: kept, not compared",
    "rounded": "with decimals of the heart rate beside RR or contact: rounded to whole bpm",
    "fractional": "with decimals of the heart rate: kept as they stood",
    "no_contact_bit": "with a contact that is neither 1 nor 0: contact unknown",
}
"""What became of rows, by the name of its count; in the order in which it is told."""


@dataclass(frozen=True, slots=True, eq=False)
class LoggedSensor:
    """One sensor of a log.

    ``counts``: rows by the names of what became of them, and ``rows``, ``valid`` (readings that
    may be compared), ``rr`` (intervals kept) and ``no_rr`` (that could not be read).
    ``spacing_s``, ``hold_s``, ``pauses``, ``paused_s``: as of
    :class:`replay.files.series.FileSeries`.
    """

    label: str
    counts: Mapping[str, int]
    spacing_s: float
    hold_s: float
    pauses: int
    paused_s: float
    first_s: float
    last_s: float

    def sentences(self) -> list[str]:
        """What the tester should know of it."""
        told = [
            f"{plural(count, 'row')} {words}."
            for name, words in _SENTENCES.items()
            if (count := self.counts.get(name, 0))
        ]
        if count := self.counts.get("no_rr", 0):
            told.append(f"{plural(count, 'RR interval')} dropped: not a time of up to 64 s.")
        if self.hold_s != DEFAULT_HOLD_S:
            told.append(
                f"A value every {self.spacing_s:g} s: each is held for up to {self.hold_s:g} s."
            )
        return told


@dataclass(frozen=True, slots=True, eq=False)
class NotificationLog:
    """What a log holds, in order of time.

    ``t_ns``: int64[n] since ``origin_ns`` of the log's own clock.  ``sensor``: int16[n], from 1,
    in the order of ``sensors``.  ``starts``: int64[n], where in ``payloads`` each begins, behind
    its channel and its size.  ``started_utc_ns``: UTC of t 0, ``None`` if nobody knows.
    ``rows``: of the file.  ``remarks``: sentences about the whole.
    """

    path: Path
    kind: str
    sha256: str
    sensors: tuple[LoggedSensor, ...]
    t_ns: npt.NDArray[np.int64]
    sensor: npt.NDArray[np.int16]
    starts: npt.NDArray[np.int64]
    payloads: bytes
    origin_ns: int
    started_utc_ns: int | None
    rows: int
    unnamed: int
    broken: int
    remarks: tuple[str, ...]

    @property
    def duration_ns(self) -> int:
        """Until the last notification of any sensor."""
        return int(self.t_ns[-1])

    def events(self) -> Iterator[Event]:
        """Each notification as an event."""
        for t_ns, sensor, start in zip(
            *(column.tolist() for column in (self.t_ns, self.sensor, self.starts)), strict=True
        ):
            yield Event(t_ns, sensor, *_packed(self.payloads, start))


def read_log(path: Path, options: TableOptions, *, device: str = "") -> NotificationLog:
    """Read a log.

    ``options``: names of columns, meaning of the times, start.  ``device``: the column that tells
    the sensors apart.  Raises :class:`ActivityFileError`, :class:`ColumnsUnclear`.
    """
    with closing(open_text(path)) as stream:
        try:
            return _Reader(path, options, device).read(stream)
        except UnicodeError as error:
            raise ActivityFileError(f"{path}: its text cannot be read: {error}") from None
        except OSError as error:
            raise ActivityFileError(f"{path}: cannot be read: {error.strerror}") from None


def log_columns(path: Path) -> tuple[str, tuple[str, ...]]:
    """The column that tells sensors apart, and the sensors in the first rows.

    Empty where there is no such column: then this is no log.  Raises :class:`ActivityFileError`.
    """
    with closing(open_text(path)) as stream:
        _, names, rows = table_of(path, stream)
        column = device_column(names)
        if not column:
            return "", ()
        at = names.index(column)
        found = dict.fromkeys(row[at].strip() for row in islice(rows, SAMPLED_ROWS) if row)
        return column, tuple(name for name in found if name)


class _Reader:
    """Reads one log from beginning to end."""

    def __init__(self, path: Path, options: TableOptions, device: str) -> None:
        self._path = path
        self._options = options
        self._device = device
        self._times = array("q")
        self._sensors = array("h")
        self._starts = array("q")
        self._payloads = bytearray()
        self._labels: dict[str, int] = {}
        self._counts: list[Counter[str]] = []
        self._latest: list[int] = []
        self._total = self._unnamed = self._broken = 0

    def read(self, stream: IO[str]) -> NotificationLog:
        path, options = self._path, self._options
        kind, names, rows = table_of(path, stream)
        head = list(islice(rows, SAMPLED_ROWS))
        samples = [row for row in head if row is not None]
        asked = {
            "device": self._device, "time": options.time_column, "bpm": options.bpm_column,
        }  # fmt: skip
        columns = columns_of(
            path, names, samples[:3], asked, {"time": TIME_NAMES, "bpm": BPM_NAMES}
        )
        form = self._time_format(names, samples, columns)
        zone = zone_named(options.timezone) if options.timezone else None
        reader = TimeReader(form, zone)
        for row in chain(head, rows):
            self._take(row, columns, reader)
        if not self._times:
            raise ActivityFileError(
                f"{path}: none of its {plural(self._total, 'row')} is a notification with a "
                "sensor, a time and a heart rate"
            )
        remarks = []
        if self._broken:
            wide = "not as wide as the header says"
            remarks.append(f"{plural(self._broken, 'row')} dropped: {wide}.")
        if self._unnamed:
            remarks.append(f"{plural(self._unnamed, 'row')} dropped: no name of a sensor.")
        if reader.zoneless and zone is None:
            remarks.append("Its times name no zone: taken as UTC (--timezone says otherwise).")
        return self._settled(kind, form, remarks)

    def _time_format(
        self, names: Sequence[str], samples: Sequence[Sequence[str]], columns: Columns
    ) -> str:
        """What the times mean: as the tester says, else as the first of them look."""
        texts = [text for row in samples if (text := row[columns.time].strip())]
        form = self._options.time_format or (guess_format(texts) if texts else ELAPSED)
        if form is None:
            raise ColumnsUnclear(
                f"{self._path}: what the times mean is not clear ({texts[0]!r}); say it with "
                "--time-format",
                "time format", names, samples[:3],
            )  # fmt: skip
        return form

    def _take(self, row: Sequence[str] | None, columns: Columns, reader: TimeReader) -> None:
        """Keep the notification of a row, or count why it is none; ``None``: of another width."""
        self._total += 1
        if row is None:
            self._broken += 1
            return
        label = row[columns.device].strip()
        if not label:
            self._unnamed += 1
            return
        number = self._number(label)
        counts = self._counts[number - 1]
        counts["rows"] += 1
        t_ns = reader.read(row[columns.time])
        if t_ns is None or abs(t_ns) >= FARTHEST_NS:
            counts["no_time"] += 1
        elif (sent := notification(row, columns, counts)) is not None:
            self._keep(number, t_ns, sent.channel, sent.payload)

    def _number(self, label: str) -> int:
        number = self._labels.get(label)
        if number is None:
            number = self._labels[label] = len(self._labels) + 1
            if number > MOST_SENSORS:
                raise ActivityFileError(
                    f"{self._path}: more than {MOST_SENSORS} different sensors; is another column "
                    "meant? Say it with --device-column"
                )
            self._counts.append(Counter())
            self._latest.append(-(2**63))
        return number

    def _keep(self, number: int, t_ns: int, channel: str, payload: bytes) -> None:
        if len(payload) > _LONGEST_PAYLOAD:
            raise ActivityFileError(
                f"{self._path}: a payload of {len(payload)} bytes; none can be longer than "
                f"{_LONGEST_PAYLOAD}"
            )
        if t_ns < self._latest[number - 1]:
            self._counts[number - 1]["unordered"] += 1
        else:
            self._latest[number - 1] = t_ns
        self._times.append(t_ns)
        self._sensors.append(number)
        self._starts.append(len(self._payloads))
        self._payloads += bytes((_CHANNELS.index(channel), *len(payload).to_bytes(2, "little")))
        self._payloads += payload

    def _settled(self, kind: str, form: str, remarks: list[str]) -> NotificationLog:
        times = np.frombuffer(self._times, dtype=np.int64)
        order = np.argsort(times, kind="stable")
        times = times[order]
        sensors = np.frombuffer(self._sensors, dtype=np.int16)[order]
        starts = np.frombuffer(self._starts, dtype=np.int64)[order]
        payloads = bytes(self._payloads)
        kept = self._without_repetitions(times, sensors, starts, payloads)
        times, sensors, starts = times[kept], sensors[kept], starts[kept]
        _check_span(self._path, times)
        first = int(times[0])
        counted = form == ELAPSED
        from_zero = counted and 0 <= first < _FROM_ZERO_S * NS_PER_S
        origin = 0 if from_zero else first // NS_PER_S * NS_PER_S
        started = None if counted else origin
        start = start_named(self._path, self._options.start, self._options.timezone)
        if counted and start is not None:
            started = start + origin
            if abs(started) >= FARTHEST_NS:
                raise ActivityFileError(
                    f"{self._path}: counted from --start {self._options.start!r}, its times lie in "
                    f"no year {YEARS}"
                )
        if counted and origin:
            remarks.append(f"The session begins where its clock shows {origin / NS_PER_S:g} s.")
        if started is None:
            remarks.append("When it was recorded is not known (--start says it): it has no date.")
        times = times - origin
        return NotificationLog(
            path=self._path, kind=kind, sha256=_sha256(self._path),
            sensors=tuple(
                _sensor(label, self._counts[number - 1], times[sensors == number])
                for label, number in self._labels.items()
            ),
            t_ns=times, sensor=sensors, starts=starts, payloads=payloads,
            origin_ns=origin, started_utc_ns=started,
            rows=self._total, unnamed=self._unnamed, broken=self._broken,
            remarks=tuple(remarks),
        )  # fmt: skip

    def _without_repetitions(
        self,
        times: npt.NDArray[np.int64],
        sensors: npt.NDArray[np.int16],
        starts: npt.NDArray[np.int64],
        payloads: bytes,
    ) -> npt.NDArray[np.bool_]:
        """What to keep: of one sensor, one time and one content only the first."""
        kept = np.ones(len(times), dtype=bool)
        same = np.flatnonzero(np.diff(times) == 0) + 1
        at = -1
        there: set[tuple[int, str, bytes]] = set()
        heard: set[int] = set()
        for here in same.tolist():
            if times[here] != at:
                at = times[here]
                before = (int(sensors[here - 1]), *_packed(payloads, int(starts[here - 1])))
                there, heard = {before}, {before[0]}
            number = int(sensors[here])
            this = (number, *_packed(payloads, int(starts[here])))
            if this in there:
                kept[here] = False
                self._counts[number - 1]["duplicated"] += 1
                count_reading(Notification(*this[1:]), self._counts[number - 1], -1)
                continue
            if number in heard:
                self._counts[number - 1]["conflicting"] += 1
            there.add(this)
            heard.add(number)
        return kept


def _packed(payloads: bytes, start: int) -> tuple[str, bytes]:
    size = payloads[start + 1] | payloads[start + 2] << 8
    return _CHANNELS[payloads[start]], payloads[start + 3 : start + 3 + size]


def _check_span(path: Path, times: npt.NDArray[np.int64]) -> None:
    span_s = (int(times[-1]) - int(times[0])) / NS_PER_S
    if span_s > LONGEST_S:
        widest = int(np.argmax(np.diff(times)))
        raise ActivityFileError(
            f"{path}: its times span {span_s / 86400:.1f} days, and no session is longer than "
            f"{LONGEST_S / 3600:.0f} h (the widest gap, {np.diff(times)[widest] / NS_PER_S:,.0f} s,"
            f" begins {(int(times[widest]) - int(times[0])) / NS_PER_S:,.0f} s after the first "
            "time); give the rows of one session"
        )


def _sensor(label: str, counts: Mapping[str, int], times: npt.NDArray[np.int64]) -> LoggedSensor:
    spacing_s, hold_s = spacing_of(times)
    gaps = np.diff(times) / NS_PER_S
    pauses = gaps[gaps > hold_s]
    known = len(times) > 0
    return LoggedSensor(
        label, counts, spacing_s, hold_s, len(pauses), float(math.fsum(pauses)),
        int(times[0]) / NS_PER_S if known else math.nan,
        int(times[-1]) / NS_PER_S if known else math.nan,
    )  # fmt: skip


def _sha256(path: Path) -> str:
    with open_file(path) as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
