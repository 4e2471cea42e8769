"""Body location, battery and Device Information."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.channels import decode
from replay.errors import PayloadError
from replay.event import (
    BATTERY,
    BODY_LOCATION,
    FIRMWARE,
    HARDWARE,
    MAKER,
    MODEL,
    SERIAL,
)
from replay.payloads import Battery, BodyLocation, DeviceText

TEXTS = (MODEL, SERIAL, FIRMWARE, HARDWARE, MAKER)


def _refusal(channel: str, payload: bytes) -> PayloadError | None:
    try:
        decode(channel, payload)
    except PayloadError as error:
        return error
    return None


def test_body_locations_have_the_names_of_the_standard() -> None:
    """Codes 0–6 are named, others are said to be reserved."""
    names = [BodyLocation(code).name for code in range(8)]
    assert names == [
        "other", "chest", "wrist", "finger", "hand", "ear lobe", "foot", "reserved (7)",
    ]  # fmt: skip
    assert BodyLocation(2) == decode(BODY_LOCATION, b"\x02")


@pytest.mark.parametrize("percent", [0, 1, 50, 100])
def test_battery_is_a_percentage(percent: int) -> None:
    """0–100 is a charge."""
    assert Battery(percent) == decode(BATTERY, bytes([percent]))


@pytest.mark.parametrize("percent", [101, 128, 255])
def test_a_charge_above_100_percent_is_refused(percent: int) -> None:
    """What no battery can hold is refused at its byte."""
    with pytest.raises(PayloadError, match="cannot be") as error:
        decode(BATTERY, bytes([percent]))
    assert error.value.byte == 0


@pytest.mark.parametrize("channel", [BATTERY, BODY_LOCATION])
@pytest.mark.parametrize(("payload", "byte"), [(b"", 0), (b"\x05\x05", 1)])
def test_one_byte_means_one_byte(channel: str, payload: bytes, byte: int) -> None:
    """A missing or surplus byte of a one-byte value is refused."""
    with pytest.raises(PayloadError) as error:
        decode(channel, payload)
    assert byte == error.value.byte


@pytest.mark.parametrize("channel", TEXTS)
@given(text=st.text(st.characters(categories=["L", "N", "P"]), max_size=30))
def test_texts_come_back_as_sent(channel: str, text: str) -> None:
    """UTF-8 text is returned; NULs and blanks that sensors pad with are dropped."""
    assert DeviceText(text) == decode(channel, text.encode())
    assert DeviceText(text) == decode(channel, text.encode() + b"\0 \0")


@given(st.binary(max_size=30))
def test_no_text_can_steer_a_terminal(payload: bytes) -> None:
    """Whatever the bytes, the text has printable characters only, or the payload is refused."""
    refusal = _refusal(MODEL, payload)
    if refusal is not None:
        assert refusal.byte == len(payload[: refusal.byte].decode().encode())
    else:
        reading = decode(MODEL, payload)
        assert isinstance(reading, DeviceText)
        assert all(c.isprintable() for c in reading.text)


def test_an_escape_sequence_is_made_visible() -> None:
    """A control character inside a name is replaced, not obeyed."""
    assert DeviceText("a\ufffd[2Jb") == decode(SERIAL, b"a\x1b[2Jb\n")


def test_bytes_that_are_not_utf8_are_refused_by_byte() -> None:
    """The first byte that is not UTF-8 is named."""
    with pytest.raises(PayloadError, match="UTF-8") as error:
        decode(FIRMWARE, b"v1.\xff2")
    assert error.value.byte == 3
