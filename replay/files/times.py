"""Times as they stand in tables: ISO 8601, counted from 1970, counted from the start, or by a
pattern; with a zone, or local to one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime, tzinfo
from decimal import Decimal
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from replay.errors import ActivityFileError

ISO: Final = "iso"
UNIX_S: Final = "unix-s"
UNIX_MS: Final = "unix-ms"
ELAPSED: Final = "elapsed"
FORMATS: Final = (ISO, UNIX_S, UNIX_MS, ELAPSED)
"""Besides these, a pattern of ``datetime.strptime`` (it holds a ``%``) is a format."""

FARTHEST_NS: Final = 2**62
"""ns: the year 2116, and half of what 64 bits hold; a later time is none."""
YEARS: Final = "from 1824 to 2115"
"""The whole years that lie within it, before and after 1970."""

_NEARLY_ALL: Final = 0.8
"""A file may have a row or two whose time is missing or spoilt."""
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,16}(?:[.,][0-9]{1,24})?(?:[eE][+-]?[0-9]{1,2})?")
_CLOCK: Final = re.compile(r"(?:([0-9]{1,3}):)?([0-9]{1,3}):([0-9]{2}(?:[.,][0-9]{1,9})?)")
_DISORDER_NS: Final = 60 * 10**9
"""A row that stands this much before the one above it is out of order; one that stands further
back, in an hour that comes twice, belongs to its second coming."""
_OLDEST_UNIX_S: Final = 10**8
"""Spring of 1973: no count of seconds from a session's start is that large."""
_OLDEST_UNIX_MS: Final = 10**11


def utc_ns(moment: datetime) -> int:
    """Nanoseconds since 1970 of an aware time, exactly."""
    since = moment - _EPOCH
    return (since.days * 86_400 + since.seconds) * 10**9 + since.microseconds * 1000


def parse_moment(text: str, zone: tzinfo | None = None) -> int | None:
    """Nanoseconds since 1970 of an ISO 8601 text.

    Where it names no zone it is local to ``zone`` (or UTC).
    """
    return TimeReader(ISO, zone).read(text)


def start_named(path: Path, text: str, timezone: str) -> int | None:
    """Nanoseconds since 1970 at which elapsed times are 0; ``None`` if nobody has said.

    Raises :class:`ActivityFileError` where ``text`` is no time, or one that no capture can hold.
    """
    if not text:
        return None
    start = parse_moment(text, zone_named(timezone) if timezone else None)
    if start is None:
        raise ActivityFileError(f"{path}: --start {text!r} is not an ISO 8601 time")
    if abs(start) >= FARTHEST_NS:
        raise ActivityFileError(f"{path}: --start {text!r} is in no year {YEARS}")
    return start


def zone_named(name: str) -> tzinfo:
    """A zone by its name (``Europe/Oslo``, ``UTC``) or offset (``+02:00``).

    Raises :class:`ActivityFileError`.
    """
    if re.fullmatch(r"[+-][0-9]{2}:[0-9]{2}", name):
        with suppress(ValueError):  # no offset reaches a day
            zone = datetime.fromisoformat(f"2000-01-01T00:00:00{name}").tzinfo
            if zone is not None:
                return zone
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):  # unknown, no name at all, a folder
        raise ActivityFileError(
            f"the time zone {name!r} is not known here; give a name such as Europe/Oslo, or an "
            "offset such as +02:00"
        ) from None


def guess_format(samples: Sequence[str]) -> str | None:
    """The format in which nearly all samples can be read and make sense, if there is one.

    A bare time of day is not guessed: it may as well be counted from the start.
    """
    texts = [text.strip() for text in samples if text.strip()]
    reader = TimeReader(ISO)
    for kind, reads in (
        ("number", _NUMBER.fullmatch),
        ("clock", _CLOCK.fullmatch),
        (ISO, lambda text: reader.read(text) is not None),
    ):
        read = [text for text in texts if reads(text)]
        if texts and len(read) >= _NEARLY_ALL * len(texts):
            return ISO if kind == ISO else _counted_format(kind, read[0])
    return None


def _counted_format(kind: str, first: str) -> str | None:
    if kind == "clock":
        begins = _elapsed_ns(first)
        return ELAPSED if begins is not None and begins < 60 * 10**9 else None
    size = abs(_decimal(first))
    if size >= _OLDEST_UNIX_MS:
        return UNIX_MS
    return UNIX_S if size >= _OLDEST_UNIX_S else ELAPSED


class TimeReader:
    """Reads the times of one file, one after the other.

    ``form``: one of :data:`FORMATS` or a pattern.  ``zone``: of times that name none; UTC if not
    given.  ``zoneless``: how many named none.  ``repeated``: how many fell into the hour that
    the end of daylight saving repeats, where only their order tells which of the two is meant.

    Raises :class:`ActivityFileError` for a format that is none.
    """

    def __init__(self, form: str, zone: tzinfo | None = None) -> None:
        if form not in FORMATS and "%" not in form:
            raise ActivityFileError(
                f"the time format {form!r} is not known; there are {', '.join(FORMATS)} and "
                "patterns such as %d.%m.%Y %H:%M:%S"
            )
        self.form: Final = form
        self.zoneless = 0
        self.repeated = 0
        self._zone = zone or UTC
        self._last_ns: int | None = None

    def read(self, text: str) -> int | None:
        """Nanoseconds since 1970 (``elapsed``: since the start); ``None`` if it is no such time."""
        text = text.strip()
        if self.form in (UNIX_S, UNIX_MS):
            if not _NUMBER.fullmatch(text):
                return None
            return round(_decimal(text) * (10**9 if self.form == UNIX_S else 10**6))
        if self.form == ELAPSED:
            return _elapsed_ns(text)
        try:
            if self.form == ISO:
                moment = datetime.fromisoformat(text.replace("/", "-"))
            else:
                moment = datetime.strptime(text, self.form)
            if moment.tzinfo is None:
                return self._local_ns(moment)
            return utc_ns(moment)
        except (ValueError, OverflowError):
            return None

    def _local_ns(self, moment: datetime) -> int:
        self.zoneless += 1
        first = utc_ns(moment.replace(tzinfo=self._zone, fold=0))
        second = utc_ns(moment.replace(tzinfo=self._zone, fold=1))
        chosen = first
        if second > first:  # the repeated hour: the clock was put back
            self.repeated += 1
            back = self._last_ns is not None and first + _DISORDER_NS < self._last_ns <= second
            if back:
                chosen = second
        # In the hour that is left out in spring, ``fold=0`` goes on with the offset of before,
        # as a device does that has not heard of the change.
        self._last_ns = chosen
        return chosen


def _decimal(text: str) -> Decimal:
    return Decimal(text.replace(",", "."))


def _elapsed_ns(text: str) -> int | None:
    if _NUMBER.fullmatch(text):
        return round(_decimal(text) * 10**9)
    match = _CLOCK.fullmatch(text)
    if match is None:
        return None
    hours, minutes, seconds = match.groups(default="0")
    return (int(hours) * 3600 + int(minutes) * 60) * 10**9 + int(_decimal(seconds) * 10**9)
