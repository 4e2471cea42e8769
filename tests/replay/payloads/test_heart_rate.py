"""Heart Rate Measurement against two independent decoders, and at its edges."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.channels import decode
from replay.errors import PayloadError
from replay.event import HEART_RATE
from replay.payloads import HeartRate, decode_heart_rate, encode_heart_rate
from tests.standins import other_decoders

NEEDS = ("bluetooth_sig", "bumble")  # imported by what is called

u16 = st.integers(0, 0xFFFF)


def _well_formed(flags: int, rr_count: int, source: random.Random) -> bytes:
    size = 1 + (1 + (flags & 1)) + 2 * (flags >> 3 & 1) + 2 * rr_count * (flags >> 4 & 1)
    return bytes([flags]) + source.randbytes(size - 1)


def _refusal(channel: str, payload: bytes) -> PayloadError | None:
    try:
        decode(channel, payload)
    except PayloadError as error:
        return error
    return None


@pytest.mark.parametrize("flags", range(32))
def test_bumble_reads_the_same_in_every_flag_combination(flags: int) -> None:
    """For all 32 flag combinations and 0–19 RR, bumble's decoder gives the same values."""
    bumble, source = other_decoders.bumble_heart_rate(), random.Random(flags)
    for rr_count in range(20):
        for _ in range(5):
            payload = _well_formed(flags, rr_count, source)
            theirs = bumble.from_bytes(payload)
            ours = decode_heart_rate(payload)
            assert theirs.heart_rate * 1000 == ours.mbpm
            assert theirs.sensor_contact_detected == ours.contact
            assert theirs.energy_expended == ours.energy_kj
            assert tuple(round(rr * 1024) for rr in theirs.rr_intervals or ()) == ours.rr
            assert ours.trailing == 0


@pytest.mark.parametrize("flags", range(32))
def test_bluetooth_sig_reads_the_same_in_every_flag_combination(flags: int) -> None:
    """For all 32 flag combinations and 0–19 RR, bluetooth-sig's decoder gives the same values."""
    other = other_decoders.bluetooth_sig(other_decoders.HEART_RATE)
    contacts = {
        other.SensorContactState.NOT_SUPPORTED: None,
        other.SensorContactState.NOT_DETECTED: False,
        other.SensorContactState.DETECTED: True,
    }
    source = random.Random(100 + flags)
    for rr_count in range(20):
        payload = _well_formed(flags, rr_count, source)
        theirs = other.HeartRateMeasurementCharacteristic().parse_value(bytearray(payload))
        ours = decode_heart_rate(payload)
        assert theirs.heart_rate * 1000 == ours.mbpm
        assert contacts[theirs.sensor_contact] == ours.contact
        assert theirs.energy_expended == ours.energy_kj
        assert tuple(round(rr * 1024) for rr in theirs.rr_intervals) == ours.rr


@given(
    bpm=u16,
    contact=st.sampled_from([None, False, True]),
    energy=st.none() | u16,
    rr=st.lists(u16, max_size=20),
)
def test_encoding_is_what_bumble_encodes(
    bpm: int, contact: bool | None, energy: int | None, rr: list[int]
) -> None:
    """Our bytes are bumble's bytes for the same values, and both decode to what went in."""
    ours = encode_heart_rate(bpm, contact=contact, energy_kj=energy, rr=rr)
    bumble = other_decoders.bumble_heart_rate()
    theirs = bytes(bumble(bpm, contact, energy, [x / 1024 for x in rr] if rr else None))
    assert theirs == ours
    assert HeartRate(bpm * 1000, contact, energy, tuple(rr)) == decode(HEART_RATE, ours)


def test_a_bpm_is_sent_wide_only_where_it_must_be() -> None:
    """255 is the last that one byte holds."""
    assert encode_heart_rate(255) == encode_heart_rate(255, wide=False) == b"\x00\xff"
    assert encode_heart_rate(256) == encode_heart_rate(256, wide=True) == b"\x01\x00\x01"
    with pytest.raises(ValueError, match="does not fit in 8 bits"):
        encode_heart_rate(256, wide=False)


@given(bpm=st.integers(0, 255), rr=st.lists(u16, max_size=3))
def test_a_small_bpm_may_be_sent_wide(bpm: int, rr: list[int]) -> None:
    """A bpm below 256 sent in 16 bits decodes to the same reading as in 8 bits."""
    wide = encode_heart_rate(bpm, rr=rr, wide=True)
    narrow = encode_heart_rate(bpm, rr=rr)
    assert len(narrow) + 1 == len(wide)
    assert decode_heart_rate(narrow) == decode_heart_rate(wide)


@given(
    wide=st.booleans(),
    contact=st.sampled_from([None, False, True]),
    energy=st.none() | u16,
    rr=st.lists(u16, max_size=4),
)
def test_every_truncation_is_refused_or_keeps_what_is_whole(
    wide: bool, contact: bool | None, energy: int | None, rr: list[int]
) -> None:
    """Cut before the RR: refused, naming the first missing byte; in the RR: whole values stay."""
    payload = encode_heart_rate(140, contact=contact, energy_kj=energy, rr=rr, wide=wide)
    fixed = len(payload) - 2 * len(rr)
    for cut in range(len(payload)):
        if cut < fixed:
            with pytest.raises(PayloadError) as error:
                decode_heart_rate(payload[:cut])
            assert cut == error.value.byte
        else:
            whole, odd = divmod(cut - fixed, 2)
            expected = HeartRate(140_000, contact, energy, tuple(rr[:whole]), odd)
            assert expected == decode_heart_rate(payload[:cut])


@pytest.mark.parametrize("count", [1, 9, 10, 15, 16, 17, 100, 255])
def test_every_rr_of_a_long_payload_is_read(count: int) -> None:
    """A sensor that was silent for a while sends as many as the link's packet holds, 255 and more.

    The Heart Rate Service names no number of its own.  Built by hand, without the encoder.
    """
    rr = [300 + n for n in range(count)]
    payload = b"\x10\x3d" + b"".join(value.to_bytes(2, "little") for value in rr)
    assert decode_heart_rate(payload) == HeartRate(61_000, None, None, tuple(rr), 0)


def test_random_bytes_raise_nothing_but_payload_errors() -> None:
    """Any bytes give a reading or a PayloadError that points into the payload or at its end."""
    source = random.Random(2)
    for _ in range(5000):
        payload = source.randbytes(source.randrange(24))
        refusal = _refusal(HEART_RATE, payload)
        if refusal is not None:
            assert 0 <= refusal.byte <= len(payload)
            assert refusal.channel == HEART_RATE
            assert refusal.payload == payload


@pytest.mark.parametrize(
    ("payload", "reading"),
    [
        ("0248", HeartRate(72_000, None)),  # contact bits 01: detected, but not supported
        ("0448", HeartRate(72_000, False)),
        ("0648", HeartRate(72_000, True)),
        ("1048", HeartRate(72_000)),  # RR announced, none sent
        ("1600", HeartRate(0, True)),  # strap off
        ("104800040300", HeartRate(72_000, rr=(1024, 3))),  # an RR of 3 ms cannot be: passed on
        ("10480004ff", HeartRate(72_000, rr=(1024,), trailing=1)),
        ("e048", HeartRate(72_000)),  # reserved flags are ignored
        ("204801", HeartRate(72_000)),  # and may announce bytes that are not known yet
    ],
)
def test_quirks_of_real_sensors_have_a_defined_reading(payload: str, reading: HeartRate) -> None:
    """Each quirk that is tolerated gives exactly the reading its description promises."""
    assert reading == decode_heart_rate(bytes.fromhex(payload))


@pytest.mark.parametrize(
    ("payload", "byte", "words"),
    [
        ("", 0, "flags are missing"),
        ("06", 1, "bpm are missing"),
        ("0148", 2, "second byte of the bpm"),
        ("084801", 3, "energy is cut short"),
        ("004801", 2, "more bytes than the flags announce"),
        ("0648ff02", 2, "more bytes than the flags announce"),
    ],
)
def test_what_the_standard_forbids_is_refused_by_byte(payload: str, byte: int, words: str) -> None:
    """A malformed payload is refused with the index of the byte and the reason."""
    with pytest.raises(PayloadError, match=words) as error:
        decode(HEART_RATE, bytes.fromhex(payload))
    assert byte == error.value.byte


@pytest.mark.parametrize(
    ("mbpm", "contact", "valid"),
    [
        (25_000, None, 25_000),
        (240_000, True, 240_000),
        (24_999, None, None),
        (240_001, None, None),
        (0, True, None),
        (140_000, False, None),
    ],
)
def test_validity_is_25_to_240_bpm_with_no_lost_contact(
    mbpm: int, contact: bool | None, valid: int | None
) -> None:
    """Only a reading of 25–240 bpm whose contact is not known to be lost may be paired."""
    reading = HeartRate(mbpm, contact)
    assert valid == reading.valid_mbpm
    assert mbpm / 1000 == reading.bpm


@pytest.mark.parametrize(
    "values",
    [{"bpm": -1}, {"bpm": 65_536}, {"bpm": 90, "rr": [65_536]}, {"bpm": 90, "energy_kj": -1}],
)
def test_the_encoder_refuses_what_does_not_fit(values: dict) -> None:
    """A value outside its field is refused, not wrapped."""
    with pytest.raises(ValueError, match="between 0 and 65535"):
        encode_heart_rate(**values)
    with pytest.raises(ValueError, match="8 bits"):
        encode_heart_rate(256, wide=False)


def test_a_channel_without_a_payload_is_named() -> None:
    """Decoding a channel of the session itself is an error of the caller."""
    with pytest.raises(ValueError, match="'link'"):
        decode("link", b"streaming")
