"""Indoor Bike Data (2AD2) against an independent decoder and the standard's table.

bluetooth-sig 0.3 takes the resistance for 8 bits, where Fitness Machine Service 1.0 has a signed
number of 16.  It is asked about payloads without that field, and the field is compared with the
table by itself.
"""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from replay.channels import decode, fields
from replay.errors import PayloadError
from replay.event import INDOOR_BIKE
from replay.payloads.indoor_bike import IndoorBike
from tests.standins import other_decoders

NEEDS = ("bluetooth_sig",)  # imported by what is called

SIZES = {0: 2, 1: 2, 2: 2, 3: 2, 4: 3, 5: 2, 6: 2, 7: 2, 8: 5, 9: 1, 10: 1, 11: 2, 12: 2}
"""Bytes behind each bit, by the table of the service; bit 0 announces the speed by being 0."""
RESISTANCE = 0x0020
COMBINATIONS = 1 << len(SIZES)


def _well_formed(flags: int, source: random.Random) -> bytes:
    size = sum(length for bit, length in SIZES.items() if (flags ^ 1) >> bit & 1)
    return flags.to_bytes(2, "little") + source.randbytes(size)


def _steps(value: float | None, per: int) -> int | None:
    return None if value is None else round(value * per)


def _theirs(payload: bytes) -> IndoorBike:
    """What bluetooth-sig reads, in our units; all ones of an energy are not available."""
    other = other_decoders.bluetooth_sig(other_decoders.INDOOR_BIKE)
    read = other.IndoorBikeDataCharacteristic().parse_value(payload)
    return IndoorBike(
        speed=_steps(read.instantaneous_speed, 100),
        average_speed=_steps(read.average_speed, 100),
        half_turns_per_min=_steps(read.instantaneous_cadence, 2),
        average_half_turns_per_min=_steps(read.average_cadence, 2),
        distance_m=read.total_distance,
        power_w=read.instantaneous_power,
        average_power_w=read.average_power,
        energy_kcal=None if read.total_energy == 0xFFFF else read.total_energy,
        energy_kcal_per_h=None if read.energy_per_hour == 0xFFFF else read.energy_per_hour,
        energy_kcal_per_min=None if read.energy_per_minute == 0xFF else read.energy_per_minute,
        heart_rate_bpm=read.heart_rate,
        tenth_met=_steps(read.metabolic_equivalent, 10),
        elapsed_s=read.elapsed_time,
        remaining_s=read.remaining_time,
    )


def test_combinations_of_flags_agree_with_bluetooth_sig() -> None:
    """Random payloads without a resistance decode alike, field by field, whichever three flags are
    set or not, and with all and with none.
    """
    source = random.Random(2)
    all_others = COMBINATIONS - 1 - RESISTANCE
    drawn = {source.randrange(COMBINATIONS) & all_others for _ in range(800)}
    bits = [1 << bit for bit in SIZES if 1 << bit != RESISTANCE]
    for three in map(sum, combinations(bits, 3)):
        assert len({flags & three for flags in drawn}) == 8
    for flags in sorted(drawn | {0, all_others}):
        payload = _well_formed(flags, source)
        assert _theirs(payload) == decode(INDOOR_BIKE, payload), payload.hex()


def test_a_resistance_is_signed_and_moves_nothing_else() -> None:
    """With two bytes of resistance put in at its place, all other fields stay what they were."""
    source = random.Random(3)
    for _ in range(500):
        flags = source.randrange(COMBINATIONS) & ~RESISTANCE
        payload = _well_formed(flags, source)
        at = 2 + sum(SIZES[bit] for bit in range(5) if (flags ^ 1) >> bit & 1)
        level = source.randrange(-(2**15), 2**15)
        longer = (
            (flags | RESISTANCE).to_bytes(2, "little")
            + payload[2:at]
            + level.to_bytes(2, "little", signed=True)
            + payload[at:]
        )
        plain, with_level = decode(INDOOR_BIKE, payload), decode(INDOOR_BIKE, longer)
        assert isinstance(plain, IndoorBike)
        assert isinstance(with_level, IndoorBike)
        assert with_level.resistance == level
        assert all(
            getattr(plain, name) == getattr(with_level, name)
            for name in IndoorBike.__dataclass_fields__
            if name != "resistance"
        )


def test_a_usual_record_of_a_trainer() -> None:
    """Speed 25.00 km/h, cadence 90/min and 200 W, as written out by the table of the service."""
    payload = bytes.fromhex("4400 c409 b400 c800")
    reading = decode(INDOOR_BIKE, payload)
    assert reading == IndoorBike(speed=2500, half_turns_per_min=180, power_w=200)
    assert isinstance(reading, IndoorBike)
    assert reading.cadence == 90.0
    assert [(f.name, f.value, f.unit) for f in fields(INDOOR_BIKE, payload)] == [
        ("flags", "0x0044", ""),
        ("speed", "25.00", "km/h"),
        ("cadence", "90.0", "1/min"),
        ("power", "200", "W"),
    ]


def test_the_rest_of_a_long_record_has_no_speed() -> None:
    """With *More Data* set, the speed is not there, and nothing else is taken for it."""
    assert decode(INDOOR_BIKE, bytes.fromhex("4100 c8ff")) == IndoorBike(power_w=-56)
    assert decode(INDOOR_BIKE, bytes.fromhex("0100")) == IndoorBike()


def test_an_energy_of_all_ones_is_not_available() -> None:
    """A machine that counts no energy per hour or minute says so by all ones."""
    payload = bytes.fromhex("0101 2a00 ffff ff")
    assert decode(INDOOR_BIKE, payload) == IndoorBike(energy_kcal=42)
    assert [f.value for f in fields(INDOOR_BIKE, payload)[2:]] == ["not available"] * 2


def test_every_truncation_and_every_surplus_is_refused_at_its_byte() -> None:
    """A payload cut anywhere is refused at its end; one byte too many is refused at that byte."""
    source = random.Random(4)
    for _ in range(150):
        payload = _well_formed(source.randrange(COMBINATIONS), source)
        for cut in range(len(payload)):
            with pytest.raises(PayloadError, match="missing for the") as error:
                decode(INDOOR_BIKE, payload[:cut])
            assert cut == error.value.byte
        with pytest.raises(PayloadError, match="more than the flags announce") as error:
            decode(INDOOR_BIKE, payload + b"\0")
        assert len(payload) == error.value.byte


def test_fields_cover_every_byte_and_mark_what_decode_refuses() -> None:
    """Whole, cut or random: the fields lie side by side, and a torn one is not sound."""
    source = random.Random(5)
    for _ in range(600):
        flags = source.randrange(COMBINATIONS)
        whole = _well_formed(flags, source)
        payload = source.choice([whole, whole[: source.randrange(len(whole) + 1)], whole + b"x"])
        found = fields(INDOOR_BIKE, payload)
        assert [f.start for f in found] == [0, *[f.end for f in found]][: len(found)]
        assert (found[-1].end if found else 0) == len(payload)
        borders = {f.end for f in fields(INDOOR_BIKE, whole)} | {0}
        assert all(f.sound for f in found) == (payload == whole or len(payload) in borders)
