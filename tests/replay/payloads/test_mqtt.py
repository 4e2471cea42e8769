"""Payloads of heart-rate topics: text or the bytes of a 2A37."""

from __future__ import annotations

import random
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.channels import decode
from replay.errors import PayloadError
from replay.event import MQTT_HEART_RATE
from replay.payloads import HeartRate, decode_heart_rate, encode_heart_rate


@pytest.mark.parametrize(
    ("payload", "mbpm"),
    [
        (b"142", 142_000),
        (b"142.5", 142_500),
        (b" 142 ", 142_000),
        (b"+142\r\n", 142_000),
        (b"0", 0),
        (b"072.250", 72_250),
        (b"99.9995", 100_000),
        (b"99.99949", 99_999),
        (b"65535", 65_535_000),
    ],
)
def test_a_bare_bpm_is_read_exactly(payload: bytes, mbpm: int) -> None:
    """A bpm in text becomes thousandths, rounded half up, with nothing else claimed."""
    assert HeartRate(mbpm) == decode(MQTT_HEART_RATE, payload)


def _refusal(channel: str, payload: bytes) -> PayloadError | None:
    try:
        decode(channel, payload)
    except PayloadError as error:
        return error
    return None


@given(st.decimals(0, 65_535, places=4))
def test_any_decimal_is_rounded_to_thousandths(bpm: Decimal) -> None:
    """Text of any decimal number gives that number in thousandths, rounded half up."""
    reading = decode(MQTT_HEART_RATE, f"{bpm:f}".encode())
    expected = int((bpm * 1000).quantize(Decimal(1), ROUND_HALF_UP))
    assert HeartRate(expected) == reading


@given(
    bpm=st.integers(0, 0xFFFF),
    contact=st.sampled_from([None, False, True]),
    rr=st.lists(st.integers(0, 0xFFFF), max_size=4),
)
def test_raw_bytes_are_told_from_text(bpm: int, contact: bool | None, rr: list[int]) -> None:
    """The bytes of a 2A37 on a topic decode as they do from the radio."""
    payload = encode_heart_rate(bpm, contact=contact, rr=rr)
    assert decode_heart_rate(payload) == decode(MQTT_HEART_RATE, payload)


@pytest.mark.parametrize(
    ("payload", "byte"),
    [
        (b"", 0),
        (b"-142", 0),
        (b"nan", 0),
        (b'{"bpm": 142}', 0),
        (b".5", 0),
        (b"70000", 0),
        (b"  99999", 2),
        (b"142x", 3),
        (b"142,5", 3),
        (b"142.", 3),
        (b"1e2", 1),
        (b"142\0", 3),
        (b"123456", 5),
        (b"\xd9\xa1\xd9\xa4", 0),
        (b"\x01\x48", 2),
    ],
)
def test_anything_else_is_refused_by_byte(payload: bytes, byte: int) -> None:
    """A payload that is neither a bare bpm nor a 2A37 is refused with the byte and the channel."""
    with pytest.raises(PayloadError) as error:
        decode(MQTT_HEART_RATE, payload)
    assert byte == error.value.byte
    assert error.value.channel == MQTT_HEART_RATE


def test_random_bytes_raise_nothing_but_payload_errors() -> None:
    """Any message on a topic gives a reading or a PayloadError."""
    source = random.Random(3)
    alphabet = b"0123456789.+- \n" + bytes(range(64, 80))
    for number in range(4000):
        size = source.randrange(12)
        payload = source.randbytes(size) if number % 2 else bytes(source.choices(alphabet, k=size))
        refusal = _refusal(MQTT_HEART_RATE, payload)
        assert refusal is None or 0 <= refusal.byte <= len(payload)
