"""Times in tables: formats, zones, and both changes of daylight saving."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from replay.errors import ActivityFileError
from replay.files.times import TimeReader, guess_format, start_named, zone_named

NEEDS = ("fitdecode", "gpxpy")  # imported by what is called

OSLO = ZoneInfo("Europe/Oslo")
NOON = 1_772_625_600 * 10**9
"""2026-03-04 12:00:00 UTC in ns."""


@pytest.mark.parametrize(
    ("form", "text", "ns"),
    [
        ("iso", "2026-03-04T12:00:00Z", NOON),
        ("iso", "2026-03-04 12:00:00", NOON),
        ("iso", "2026/03/04 12:00:00", NOON),
        ("iso", "2026-03-04T13:00:00.25+01:00", NOON + 250_000_000),
        ("unix-s", "1772625600", NOON),
        ("unix-s", "1772625600.123456789", NOON + 123_456_789),
        ("unix-ms", "1772625600123", NOON + 123_000_000),
        ("elapsed", "12.5", 12_500_000_000),
        ("elapsed", "1:02:03", 3723 * 10**9),
        ("elapsed", "02:03.5", 123_500_000_000),
        ("%d.%m.%Y %H:%M:%S", "04.03.2026 12:00:00", NOON),
        ("iso", "yesterday", None),
        ("unix-s", "soon", None),
        ("elapsed", "12h", None),
        ("%d.%m.%Y", "2026-03-04", None),
        ("iso", "", None),
    ],
)
def test_each_format_is_read_exactly(form, text, ns):
    """Times become whole nanoseconds; what is no such time is none."""
    assert TimeReader(form).read(text) == ns


@pytest.mark.parametrize(
    ("samples", "form"),
    [
        (["2026-03-04T12:00:00Z"] * 5, "iso"),
        (["2026-03-04 12:00:00", "", "2026-03-04 12:00:01"], "iso"),
        (["1772625600", "1772625601"], "unix-s"),
        (["1772625600000", "1772625601000"], "unix-ms"),
        (["0", "1.0", "2.0"], "elapsed"),
        (["0:00:00", "0:00:01"], "elapsed"),
        (["00:05", "00:06"], "elapsed"),
        (["07:15:00", "07:15:01"], None),
        (["04.03.2026 12:00:00"], None),
        (["03/04/2026 12:00:00"], None),
        (["abc"], None),
        ([], None),
        ([*["1772625600"] * 9, "spoilt"], "unix-s"),
    ],
)
def test_only_what_is_clear_is_guessed(samples, form):
    """A time of day and dates whose order of day and month is a matter of taste are not guessed."""
    assert guess_format(samples) == form


def test_local_times_are_of_their_zone():
    """A time that names no zone is local to the one that is given."""
    assert TimeReader("iso", OSLO).read("2026-03-04 13:00:00") == NOON
    assert TimeReader("iso", OSLO).read("2026-07-04 14:00:00") == NOON + 122 * 86_400 * 10**9


def test_the_hour_that_comes_twice_is_told_by_order():
    """When clocks go back at 03:00, 02:59 is followed by 02:00: a minute, not an hour ago."""
    reader = TimeReader("iso", OSLO)
    texts = [f"2026-10-25 02:{m:02}:00" for m in range(60)] * 2 + ["2026-10-25 03:00:00"]
    times = [reader.read(text) for text in texts]
    assert {b - a for a, b in pairwise(times)} == {60 * 10**9}
    assert reader.repeated == 120


def test_a_row_out_of_order_is_not_taken_for_a_change_of_the_clock():
    """In the hour that comes twice, a step back of seconds is disorder, not the second coming."""
    reader = TimeReader("iso", OSLO)
    texts = ["2026-10-25 02:10:05", "2026-10-25 02:10:03", "2026-10-25 02:10:06"]
    first, second, third = (reader.read(text) for text in texts)
    assert (second - first, third - first) == (-2 * 10**9, 10**9)


def test_a_device_that_misses_the_spring_change_runs_on():
    """Local times in the hour that is left out go on without a jump."""
    reader = TimeReader("iso", OSLO)
    texts = ["2026-03-29 01:59:59", "2026-03-29 02:00:00", "2026-03-29 02:00:01"]
    first, second, third = (reader.read(text) for text in texts)
    assert (second - first, third - second) == (10**9, 10**9)


@pytest.mark.parametrize("name", ["Europe/Oslo", "UTC", "+02:00", "-03:30"])
def test_zones_have_names_or_offsets(name):
    """A zone is given by name or offset."""
    assert zone_named(name) is not None


@pytest.mark.parametrize("name", ["Mars/Olympus", "", "+2", "../etc/passwd", "Europe", "+99:99"])
def test_unknown_zones_are_refused(name):
    """Whatever is no zone is one sentence with an example."""
    with pytest.raises(ActivityFileError, match="is not known here"):
        zone_named(name)


def test_unknown_formats_are_refused():
    """A format that is none is one sentence with the list."""
    with pytest.raises(ActivityFileError, match="iso, unix-s, unix-ms, elapsed"):
        TimeReader("guess")


@pytest.mark.parametrize(
    ("text", "timezone", "ns"),
    [
        ("", "", None),
        ("1970-01-01T00:00:01Z", "", 10**9),
        ("1970-01-01T02:00:00", "+02:00", 0),
        ("2115-12-31T23:59:59Z", "", 4_607_279_999 * 10**9),
        ("1824-01-01T00:00:00Z", "", -4_607_366_400 * 10**9),
    ],
)
def test_a_start_is_a_time_of_the_years_that_a_capture_holds(text, timezone, ns):
    """146 years before and after 1970; nothing said is no start."""
    assert start_named(Path("a.csv"), text, timezone) == ns


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("noon", "is not an ISO 8601 time"),
        ("9999-12-31T23:59:59Z", "is in no year from 1824 to 2115"),
        ("0001-01-01T00:00:00+14:00", "is in no year from 1824 to 2115"),
        ("2116-12-31", "is in no year"),
    ],
)
def test_a_start_of_no_such_year_is_refused_in_a_sentence(text, said):
    """Whatever the form of the file that it is said of."""
    with pytest.raises(ActivityFileError, match=rf"a\.csv: --start '{re.escape(text)}' {said}"):
        start_named(Path("a.csv"), text, "")
