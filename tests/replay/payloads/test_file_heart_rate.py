"""Heart rates as they stand in activity files."""

from __future__ import annotations

from contextlib import suppress
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.channels import decode
from replay.errors import PayloadError
from replay.event import FILE_HEART_RATE
from replay.payloads import encode_file_heart_rate


@pytest.mark.parametrize(
    ("text", "unit", "mbpm"),
    [
        ("142", "bpm", 142_000),
        ("142.5", "bpm", 142_500),
        ("142,25", "bpm", 142_250),
        (" 98 ", "bpm", 98_000),
        ("0", "bpm", 0),
        ("0.0005", "bpm", 1),
        ("2.5", "Hz", 150_000),
        ("420", "ms", 142_857),
        ("0", "ms", 0),
    ],
)
def test_text_becomes_thousandths_of_a_bpm(text, unit, mbpm):
    """A number in the file's unit is read, with point or comma, rounded half up."""
    reading = decode(FILE_HEART_RATE, encode_file_heart_rate(text, unit))
    assert reading.mbpm == mbpm


@pytest.mark.parametrize(
    "text", ["", "abc", "nan", "-5", "142 kg", "1e2", "1.2.3", "9999999", "١٢"]
)
def test_what_is_no_heart_rate_is_refused(text):
    """Anything that is not a number in a known unit raises the error that is counted."""
    with pytest.raises(PayloadError, match="file-hr"):
        decode(FILE_HEART_RATE, text.encode())


@pytest.mark.parametrize(
    ("text", "valid"), [("0", None), ("24", None), ("25", 25_000), ("241", None)]
)
def test_validity_is_that_of_every_sensor(text, valid):
    """Values of 0 and outside 25 to 240 bpm are readings, but not valid ones."""
    assert decode(FILE_HEART_RATE, text.encode()).valid_mbpm == valid


@given(st.decimals(min_value=0, max_value=60000, places=6))
def test_every_decimal_is_rounded_once(value):
    """Whatever the digits, the reading is the decimal rounded half up to thousandths."""
    expected = int((value * 1000).to_integral_value(ROUND_HALF_UP))
    assert decode(FILE_HEART_RATE, f"{value:f}".encode()).mbpm == expected


@given(st.binary(max_size=30))
def test_no_bytes_do_worse_than_an_error(payload):
    """Any bytes at all are a reading or the error that is counted."""
    with suppress(PayloadError):
        assert decode(FILE_HEART_RATE, payload).mbpm >= 0


def test_an_unknown_unit_is_not_written():
    """A value is not stored under a unit that nothing can read."""
    with pytest.raises(ValueError, match="unit must be one of"):
        encode_file_heart_rate("142", "mph")


def test_a_time_per_beat_is_inverted():
    """600 ms per beat are 100 beats per minute, exactly."""
    assert decode(FILE_HEART_RATE, b"600 ms").mbpm == Decimal(100_000)
