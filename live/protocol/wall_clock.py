"""The time of day as every view says it: here, and in UTC."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from replay.event import NS_PER_S


def wall_clock(utc_ns: int | None, zone: tzinfo | None = None) -> str:
    """Time of day here and in UTC; empty if it is not known.  ``zone``: the computer's if none."""
    if not utc_ns:
        return ""
    moment = datetime.fromtimestamp(utc_ns // NS_PER_S, UTC)
    here = moment.astimezone(zone)
    if here.utcoffset() == moment.utcoffset():
        return f"{moment:%H:%M:%S} UTC"
    return f"{here:%H:%M:%S} local · {moment:%H:%M:%S} UTC"
