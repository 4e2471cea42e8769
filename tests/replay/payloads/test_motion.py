"""Cycling cadence, running cadence and cycling power against an independent decoder."""

from __future__ import annotations

import random

import pytest

from replay.channels import decode
from replay.errors import PayloadError
from replay.event import CYCLING, POWER, RUNNING
from replay.payloads import CyclingCadence, CyclingPower, Revolutions, RunningCadence
from tests.standins import other_decoders

NEEDS = ("bluetooth_sig",)  # imported by what is called

# Size in bytes of the field behind each flag bit, by the tables of the three services.
CYCLING_FIELDS = {0: 6, 1: 4}
RUNNING_FIELDS = {0: 2, 1: 4}
POWER_FIELDS = {0: 1, 2: 2, 4: 6, 5: 4, 6: 4, 7: 4, 8: 3, 9: 2, 10: 2, 11: 2}
LAYOUTS = {
    CYCLING: (1, 0, CYCLING_FIELDS, 2),
    RUNNING: (1, 3, RUNNING_FIELDS, 3),
    POWER: (2, 2, POWER_FIELDS, 13),
}


def _well_formed(channel: str, flags: int, source: random.Random) -> bytes:
    flag_size, fixed, fields, _ = LAYOUTS[channel]
    size = fixed + sum(length for bit, length in fields.items() if flags >> bit & 1)
    return flags.to_bytes(flag_size, "little") + source.randbytes(size)


def _ticks(seconds: float | None, per_s: int) -> int | None:
    return None if seconds is None else round(seconds * per_s)


def _pair(count: int | None, seconds: float | None, per_s: int) -> Revolutions | None:
    ticks = _ticks(seconds, per_s)
    return None if count is None or ticks is None else Revolutions(count, ticks)


def _refusal(channel: str, payload: bytes) -> PayloadError | None:
    try:
        decode(channel, payload)
    except PayloadError as error:
        return error
    return None


@pytest.mark.parametrize("flags", range(4))
def test_cycling_cadence_agrees_with_bluetooth_sig(flags: int) -> None:
    """Every flag combination of a 2A5B decodes as bluetooth-sig decodes it."""
    other = other_decoders.bluetooth_sig(other_decoders.CYCLING)
    source = random.Random(flags)
    for _ in range(50):
        payload = _well_formed(CYCLING, flags, source)
        theirs = other.CSCMeasurementCharacteristic().parse_value(bytearray(payload))
        expected = CyclingCadence(
            _pair(theirs.cumulative_wheel_revolutions, theirs.last_wheel_event_time, 1024),
            _pair(theirs.cumulative_crank_revolutions, theirs.last_crank_event_time, 1024),
        )
        assert expected == decode(CYCLING, payload)


@pytest.mark.parametrize("flags", range(8))
def test_running_cadence_agrees_with_bluetooth_sig(flags: int) -> None:
    """Every flag combination of a 2A53 decodes as bluetooth-sig decodes it."""
    other = other_decoders.bluetooth_sig(other_decoders.RUNNING)
    source = random.Random(flags)
    for _ in range(50):
        payload = _well_formed(RUNNING, flags, source)
        theirs = other.RSCMeasurementCharacteristic().parse_value(bytearray(payload))
        expected = RunningCadence(
            speed=round(theirs.instantaneous_speed * 256),
            cadence_per_min=theirs.instantaneous_cadence,
            stride_cm=_ticks(theirs.instantaneous_stride_length, 100),
            distance_dm=_ticks(theirs.total_distance, 10),
            is_running=theirs.is_running,
        )
        assert expected == decode(RUNNING, payload)


def test_cycling_power_agrees_with_bluetooth_sig() -> None:
    """Random flag combinations of a 2A63 decode, field by field, as bluetooth-sig decodes them."""
    other = other_decoders.bluetooth_sig(other_decoders.POWER)
    source = random.Random(63)
    for number in range(1500):
        flags = 1 << number if number < 13 else source.randrange(1 << 13)
        payload = bytearray(_well_formed(POWER, flags, source))
        if flags & 1:
            payload[4] = min(payload[4], 200)  # they take 255 for "unknown"; we pass it on
        theirs = other.CyclingPowerMeasurementCharacteristic().parse_value(payload)
        expected = CyclingPower(
            power_w=theirs.instantaneous_power,
            balance=_ticks(theirs.pedal_power_balance, 2),
            balance_is_left=bool(flags & 0x0002),
            torque=_ticks(theirs.accumulated_torque, 32),
            torque_is_crank=bool(flags & 0x0008),
            wheel=_pair(theirs.cumulative_wheel_revolutions, theirs.last_wheel_event_time, 2048),
            crank=_pair(theirs.cumulative_crank_revolutions, theirs.last_crank_event_time, 1024),
            greatest_force_n=theirs.maximum_force_magnitude,
            least_force_n=theirs.minimum_force_magnitude,
            greatest_torque=_ticks(theirs.maximum_torque_magnitude, 32),
            least_torque=_ticks(theirs.minimum_torque_magnitude, 32),
            greatest_angle_deg=theirs.maximum_angle,
            least_angle_deg=theirs.minimum_angle,
            top_dead_spot_deg=theirs.top_dead_spot_angle,
            bottom_dead_spot_deg=theirs.bottom_dead_spot_angle,
            energy_kj=theirs.accumulated_energy,
            offset_compensated=bool(flags & 0x1000),
        )
        assert expected == decode(POWER, bytes(payload))


@pytest.mark.parametrize("channel", LAYOUTS)
def test_every_truncation_and_every_surplus_is_refused(channel: str) -> None:
    """A payload cut anywhere is refused at its end; one byte too many is refused at that byte."""
    source = random.Random(4)
    for _ in range(100):
        flags = source.randrange(1 << LAYOUTS[channel][3])
        payload = _well_formed(channel, flags, source)
        for cut in range(len(payload)):
            with pytest.raises(PayloadError, match="missing for the") as error:
                decode(channel, payload[:cut])
            assert cut == error.value.byte
        with pytest.raises(PayloadError, match="more than the flags announce") as error:
            decode(channel, payload + b"\0")
        assert len(payload) == error.value.byte


@pytest.mark.parametrize("channel", LAYOUTS)
def test_reserved_flags_may_announce_unknown_fields(channel: str) -> None:
    """With a reserved flag set, the known fields are read and what stands behind is passed over."""
    flag_size, _, _, known = LAYOUTS[channel]
    source = random.Random(5)
    plain = _well_formed(channel, 0, source)
    flags = (1 << known if known < 8 * flag_size else 0).to_bytes(flag_size, "little")
    assert decode(channel, plain) == decode(channel, flags + plain[flag_size:] + b"\x07\x07")


@pytest.mark.parametrize("channel", LAYOUTS)
def test_random_bytes_raise_nothing_but_payload_errors(channel: str) -> None:
    """Any bytes give a reading or a PayloadError that points into the payload or at its end."""
    source = random.Random(6)
    for _ in range(1000):
        payload = source.randbytes(source.randrange(40))
        refusal = _refusal(channel, payload)
        assert refusal is None or 0 <= refusal.byte <= len(payload)


def test_negative_power_is_power() -> None:
    """Power is signed: a coasting fixed wheel gives negative watts."""
    reading = decode(POWER, b"\x00\x00\xf6\xff")
    assert CyclingPower(power_w=-10) == reading
