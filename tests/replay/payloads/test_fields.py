"""The fields of a payload with their places, held against the decoders."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay import event as ev
from replay.channels import COMPANION_CHANNELS, DECODERS, decode, fields
from replay.errors import PayloadError
from replay.payloads import HeartRate, encode_heart_rate

_POWER_SIZES = {0: 1, 2: 2, 4: 6, 5: 4, 6: 4, 7: 4, 8: 3, 9: 2, 10: 2, 11: 2}


def tiles(channel, payload):
    """The fields lie side by side from the first byte to the last."""
    at = 0
    for field in fields(channel, payload):
        assert field.start == at < field.end
        at = field.end
    return at == len(payload)


def refused(channel, payload):
    try:
        decode(channel, payload)
    except PayloadError:
        return True
    return False


def body(size):
    return bytes(17 * i % 251 for i in range(1, size + 1))


def sized(channel):
    """A payload of the announced length for every combination of the known flags."""
    if channel == ev.HEART_RATE:
        for flags in range(0x20):
            size = 1 + (flags & 1) + (2 if flags & 8 else 0)
            for rr in (0, 1, 4) if flags & 0x10 else (0,):
                yield bytes([flags]) + body(size + 2 * rr)
    elif channel == ev.CYCLING:
        for flags in range(4):
            yield bytes([flags]) + body((6 if flags & 1 else 0) + (4 if flags & 2 else 0))
    elif channel == ev.RUNNING:
        for flags in range(8):
            yield bytes([flags]) + body(3 + (2 if flags & 1 else 0) + (4 if flags & 2 else 0))
    else:
        for flags in range(1 << 13):
            size = 2 + sum(n for bit, n in _POWER_SIZES.items() if flags >> bit & 1)
            yield flags.to_bytes(2, "little") + body(size)


@pytest.mark.parametrize("channel", [ev.HEART_RATE, ev.CYCLING, ev.RUNNING, ev.POWER])
def test_fields_tile_every_combination_of_flags(channel):
    """Whatever the flags announce, the fields cover each byte once, and all of them are sound."""
    for payload in sized(channel):
        decode(channel, payload)
        assert tiles(channel, payload), payload.hex()
        assert all(field.sound for field in fields(channel, payload)), payload.hex()


@given(st.sampled_from(sorted(ev.CHANNELS)), st.binary(max_size=40))
def test_any_bytes_are_covered_and_what_decode_refuses_is_marked(channel, payload):
    """Any payload is covered; one that does not decode has a byte that is not sound."""
    assert tiles(channel, payload)
    if channel in DECODERS and payload and refused(channel, payload):
        found = fields(channel, payload)
        # These may end at the border of a field: what is there is sound, and something is missing.
        cut = channel in {ev.HEART_RATE, ev.MQTT_HEART_RATE, *COMPANION_CHANNELS}
        assert cut or any(not field.sound for field in found)


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        (0x00, "8-bit bpm"), (0x01, "16-bit bpm"), (0x02, "8-bit bpm"),
        (0x04, "8-bit bpm, no contact"), (0x05, "16-bit bpm, no contact"),
        (0x06, "8-bit bpm, contact"), (0x07, "16-bit bpm, contact"),
        (0x19, "16-bit bpm, energy, RR"), (0x20, "8-bit bpm, reserved bits"),
    ],
)  # fmt: skip
def test_the_flags_of_a_heart_rate_are_in_words(flags, said):
    """Contact only where the sensor can tell."""
    assert fields(ev.HEART_RATE, bytes([flags, 60, 0, 0, 0, 0, 0]))[0].value == said


@given(
    st.integers(0, 65535),
    st.sampled_from([None, True, False]),
    st.one_of(st.none(), st.integers(0, 65535)),
    st.lists(st.integers(0, 65535), max_size=5),
)
def test_the_values_of_a_heart_rate_are_those_of_its_decoder(bpm, contact, energy, rr):
    """Heart rate, energy and RR read the same as in the reading."""
    payload = encode_heart_rate(bpm, contact=contact, energy_kj=energy, rr=rr)
    reading = decode(ev.HEART_RATE, payload)
    assert isinstance(reading, HeartRate)
    found = fields(ev.HEART_RATE, payload)
    by_name = {field.name: field.value for field in found}
    assert int(by_name["heart rate"]) * 1000 == reading.mbpm
    assert by_name.get("energy") == (None if energy is None else str(reading.energy_kj))
    shown = [field.value for field in found if field.name == "RR"]
    assert shown == [f"{ticks * 1000 / 1024:.0f}" for ticks in reading.rr]
    words = by_name["flags"].split(", ")
    assert ("contact" in words, "no contact" in words) == (contact is True, contact is False)


_LAST = {
    channel: list(sized(channel))[-40:]
    for channel in (ev.HEART_RATE, ev.CYCLING, ev.RUNNING, ev.POWER)
}


@given(st.sampled_from(sorted(_LAST)), st.data())
def test_a_cut_payload_ends_in_a_field_that_is_not_sound_or_at_a_border(channel, data):
    """A payload cut anywhere is covered to its end, and the torn field is marked."""
    whole = data.draw(st.sampled_from(_LAST[channel]))
    cut = data.draw(st.integers(1, len(whole)))
    payload = whole[:cut]
    assert tiles(channel, payload)
    borders = {field.end for field in fields(channel, whole)}
    if cut not in borders:
        assert not fields(channel, payload)[-1].sound


def test_values_carry_their_units():
    """A power measurement names its fields with values and units of the trade."""
    payload = bytes.fromhex("2400fa00") + (64).to_bytes(2, "little") + bytes.fromhex("0a000004")
    found = [(f.name, f.value, f.unit) for f in fields(ev.POWER, payload)]
    assert found == [
        ("flags", "0x0024", ""),
        ("power", "250", "W"),
        ("accumulated torque", "2.00", "N m"),
        ("crank revolutions", "10", ""),
        ("crank time", "1.000", "s"),
    ]


def test_reserved_flags_and_surplus_bytes_are_told_apart():
    """Bytes behind the known fields belong to a later revision only if a reserved bit is set."""
    later = fields(ev.HEART_RATE, b"\x20\x50\x01")[-1]
    surplus = fields(ev.HEART_RATE, b"\x00\x50\x01")[-1]
    assert later.sound
    assert not surplus.sound
    assert refused(ev.HEART_RATE, b"\x00\x50\x01")
    assert not refused(ev.HEART_RATE, b"\x20\x50\x01")
