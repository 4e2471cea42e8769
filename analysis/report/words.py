"""Numbers and times as text, for page and figures."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from replay.event import NS_PER_S
from replay.text import grouped

if TYPE_CHECKING:  # a capture says times, and has no use for the board and its numpy
    from analysis.board.snapshot import Severity
    from analysis.statistics.estimate import Estimate

NONE: Final = "–"
"""Stands where there is no value."""

TOO_WIDE: Final = "too wide to say"
WIDE: Final = 10.0
"""Of bpm, s or %: twice the tolerance that is usual; an interval within it is of use beside any
value, be it 0."""
WIDE_R: Final = 0.5
"""Of a correlation."""

INVENTED: Final = "INVENTED DATA"
INVENTED_LONG: Final = "INVENTED DATA: simulated wearers and sensors, no measurement of anyone."

_CLOCK_STEPS_S: Final = (15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)


def number(value: float | None, digits: int, *, sign: bool = False, unit: str = "") -> str:
    """A number with a true minus; what rounds to 0 has no sign."""
    if value is None:
        return NONE
    text = f"{value:+.{digits}f}" if sign else f"{value:.{digits}f}"
    if not text.strip("+-0."):
        text = text.lstrip("+-")
    return text.replace("-", "−") + (f" {unit}" if unit else "")


def share_text(value: float, digits: int = 0) -> str:
    """A share that is not quite all or nothing is not rounded to it."""
    half = 0.5 * 10.0**-digits
    if 0 < value < half or 100 - half <= value < 100:
        return number(min(max(value, 0.1), 99.9), 1)
    return number(value, digits)


def interval(
    ends: Sequence[float] | None, digits: int, *, sign: bool = False, unit: str = ""
) -> str:
    """An interval as ``low to high``; empty if there is none."""
    if ends is None:
        return ""
    low, high = (number(end, digits, sign=sign) for end in ends)
    return f"{low} to {high}" + (f" {unit}" if unit else "")


def ends(
    estimate: Estimate,
    digits: int,
    *,
    sign: bool = False,
    unit: str = "",
    wide: float = WIDE,
) -> str:
    """The interval of a statistic in words; empty if there is none.

    One that is wider than the statistic itself, and than anything that matters (``wide``, in its
    unit), says nothing that a number could carry; the JSON holds its ends all the same.
    """
    found = estimate.interval
    if found is None or estimate.value is None:
        return ""
    if found[1] - found[0] > max(abs(estimate.value), wide):
        return TOO_WIDE
    if unit == "%":
        return f"{share_interval(found, digits)} %"
    return interval(found, digits, sign=sign, unit=unit)


def share_interval(ends: Sequence[float] | None, digits: int = 0) -> str:
    """An interval of shares in percent, each end as :func:`share_text`; empty if there is none."""
    return "" if ends is None else " to ".join(share_text(end, digits) for end in ends)


def count(value: int) -> str:
    """A whole number with thin spaces between thousands."""
    return grouped(value)


def clock(seconds: float, *, sign: bool = True) -> str:
    """Session time: ``m:ss``, from an hour on ``h:mm:ss``; whole seconds, rounded down."""
    whole = int(seconds // 1)
    prefix = "−" if whole < 0 and sign else ""
    minutes, second = divmod(abs(whole), 60)
    hours, minute = divmod(minutes, 60)
    text = f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"
    return prefix + text


def clock_ticks(seconds: float, most: int) -> list[int]:
    """Round times from 0 to ``seconds``, at most about ``most`` of them."""
    return list(range(0, int(seconds) + 1, clock_step(seconds, most)))


def clock_step(seconds: float, most: int) -> int:
    """Seconds between round times, of which about ``most`` fit into ``seconds``."""
    return next((s for s in _CLOCK_STEPS_S if seconds / s <= most), _CLOCK_STEPS_S[-1])


def duration(seconds: float) -> str:
    """A length of time in words: ``14 s``, ``3 min 5 s``, ``2 h 10 min``."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if whole < 3600:
        return f"{minutes} min" + (f" {rest} s" if rest else "")
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h" + (f" {minutes} min" if minutes else "")


def utc_text(utc_ns: int) -> str:
    """ISO 8601 with milliseconds and ``Z``."""
    moment = datetime.fromtimestamp(utc_ns / NS_PER_S, tz=UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def started_text(utc_ns: int) -> str | None:
    """As :func:`utc_text`; ``None`` for a session that nothing dates, which begins at the epoch."""
    return utc_text(utc_ns) if utc_ns else None


def local_clock(utc_iso: str | None) -> tuple[str, str] | None:
    """Time of day where this runs, and its distance from UTC: ``07:15`` and ``UTC+01:00``.

    The day stands before the time where it is another one than that of UTC.  ``None`` if the
    moment is not known.  A capture does not know where it was recorded, so whoever shows this
    says that it is the zone of the computer that shows it.
    """
    if utc_iso is None:
        return None
    utc = datetime.fromisoformat(utc_iso)
    here = utc.astimezone()
    text = f"{here:%H:%M}"
    if here.date() != utc.date():
        text = f"{here.day} {_MONTHS[here.month - 1]}, {text}"
    return text, zone_text(here)


def zone_text(moment: datetime) -> str:
    """How far a moment's clock is from UTC: ``UTC``, ``UTC+01:00``, ``UTC−03:30``."""
    text = f"{moment:%z}"
    return "UTC" if text == "+0000" else f"UTC{text[:3]}:{text[3:5]}".replace("-", "−")


def day_text(utc_iso: str | None) -> str:
    """``4 March 2026, 06:15 UTC`` from ISO 8601; in words if it is not known."""
    if utc_iso is None:
        return "date not known"
    moment = datetime.fromisoformat(utc_iso)
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}, {moment:%H:%M} UTC"


def listed(words: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``; nothing where there are none."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]


def severity_name(severity: Severity) -> str:
    """A severity in words, such as ``test fault``."""
    return severity.name.lower().replace("_", " ")


_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
