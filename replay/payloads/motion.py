"""Cadence and power: CSC (2A5B), RSC (2A53) and Cycling Power (2A63) measurements.

Layouts by the Bluetooth SIG's Cycling Speed and Cadence, Running Speed and Cadence, and
Cycling Power services.  Reserved flag bits are ignored; surplus bytes are refused unless such
a bit is set.  Values are whole numbers in the unit of the standard, named with each field.
"""

from __future__ import annotations

from dataclasses import dataclass

from replay.event import CYCLING, POWER, RUNNING
from replay.payloads._cursor import Cursor


@dataclass(frozen=True, slots=True)
class Revolutions:
    """A counter of revolutions and the time of the last one, in ticks; both roll over."""

    count: int
    ticks: int


class Motion:
    """What a companion sends: a reading that may tell how fast the wearer moves."""

    __slots__ = ()

    @property
    def cadence(self) -> Revolutions | float | None:
        """Cadence in 1/min, or the counter that it is to be told by; ``None`` if not sent."""
        return None


@dataclass(frozen=True, slots=True)
class CyclingCadence(Motion):
    """CSC measurement: ``wheel`` (32-bit count) and ``crank`` (16-bit), times in 1/1024 s."""

    wheel: Revolutions | None = None
    crank: Revolutions | None = None

    @property
    def cadence(self) -> Revolutions | None:
        """The crank's counter."""
        return self.crank


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningCadence(Motion):
    """RSC measurement.

    ``speed``: 1/256 m/s.  ``cadence_per_min``: as the sensor counts it (steps or strides).
    ``stride_cm``: length of a stride.  ``distance_dm``: total distance in 0.1 m.
    """

    speed: int
    cadence_per_min: int
    stride_cm: int | None = None
    distance_dm: int | None = None
    is_running: bool = False

    @property
    def cadence(self) -> float:
        """As the sensor counts it, in 1/min."""
        return float(self.cadence_per_min)


@dataclass(frozen=True, slots=True, kw_only=True)
class CyclingPower(Motion):
    """Cycling power measurement; fields that were not sent are ``None``.

    ``power_w``: W.  ``balance``: half percent, of the left pedal if ``balance_is_left``, else of
    an unknown one.  ``torque``: accumulated, 1/32 N m, from the crank if ``torque_is_crank``,
    else the wheel.  ``wheel``: time in 1/2048 s.  ``crank``: time in 1/1024 s.
    ``greatest_force_n`` …: extremes of the last revolution (N; 1/32 N m; degrees).
    ``energy_kj``: accumulated.  ``offset_compensated``: the sensor has subtracted its zero offset.
    """

    power_w: int
    balance: int | None = None
    balance_is_left: bool = False
    torque: int | None = None
    torque_is_crank: bool = False
    wheel: Revolutions | None = None
    crank: Revolutions | None = None
    greatest_force_n: int | None = None
    least_force_n: int | None = None
    greatest_torque: int | None = None
    least_torque: int | None = None
    greatest_angle_deg: int | None = None
    least_angle_deg: int | None = None
    top_dead_spot_deg: int | None = None
    bottom_dead_spot_deg: int | None = None
    energy_kj: int | None = None
    offset_compensated: bool = False

    @property
    def cadence(self) -> Revolutions | None:
        """The crank's counter."""
        return self.crank


def decode_cycling(payload: bytes) -> CyclingCadence:
    """Decode a 2A5B.  Raises :class:`PayloadError` naming the byte."""
    take = Cursor(CYCLING, payload)
    flags = take.unsigned(1, "flags")
    wheel = crank = None
    if flags & 0x01:
        wheel = Revolutions(take.unsigned(4, "wheel revolutions"), take.unsigned(2, "wheel time"))
    if flags & 0x02:
        crank = Revolutions(take.unsigned(2, "crank revolutions"), take.unsigned(2, "crank time"))
    take.finish(unknown_flags=flags & ~0x03)
    return CyclingCadence(wheel, crank)


def decode_running(payload: bytes) -> RunningCadence:
    """Decode a 2A53.  Raises :class:`PayloadError` naming the byte."""
    take = Cursor(RUNNING, payload)
    flags = take.unsigned(1, "flags")
    reading = RunningCadence(
        speed=take.unsigned(2, "speed"),
        cadence_per_min=take.unsigned(1, "cadence"),
        stride_cm=take.unsigned(2, "stride length") if flags & 0x01 else None,
        distance_dm=take.unsigned(4, "distance") if flags & 0x02 else None,
        is_running=bool(flags & 0x04),
    )
    take.finish(unknown_flags=flags & ~0x07)
    return reading


def decode_power(payload: bytes) -> CyclingPower:
    """Decode a 2A63, every optional field of it.  Raises :class:`PayloadError`."""
    take = Cursor(POWER, payload)
    flags = take.unsigned(2, "flags")

    def unsigned(bit: int, size: int, field: str) -> int | None:
        return take.unsigned(size, field) if flags >> bit & 1 else None

    def signed(bit: int, field: str) -> int | None:
        return take.signed(2, field) if flags >> bit & 1 else None

    def revolutions(bit: int, size: int, field: str) -> Revolutions | None:
        if not flags >> bit & 1:
            return None
        return Revolutions(
            take.unsigned(size, f"{field} revolutions"), take.unsigned(2, f"{field} time")
        )

    power_w = take.signed(2, "power")
    balance = unsigned(0, 1, "balance")
    torque = unsigned(2, 2, "torque")
    wheel = revolutions(4, 4, "wheel")
    crank = revolutions(5, 2, "crank")
    greatest_force, least_force = signed(6, "greatest force"), signed(6, "least force")
    greatest_torque, least_torque = signed(7, "greatest torque"), signed(7, "least torque")
    angles = unsigned(8, 3, "extreme angles")  # two of 12 bits: the greatest, then the least
    top, bottom = unsigned(9, 2, "top dead spot"), unsigned(10, 2, "bottom dead spot")
    energy = unsigned(11, 2, "energy")
    take.finish(unknown_flags=flags & ~0x1FFF)
    return CyclingPower(
        power_w=power_w,
        balance=balance,
        balance_is_left=bool(flags & 0x0002),
        torque=torque,
        torque_is_crank=bool(flags & 0x0008),
        wheel=wheel,
        crank=crank,
        greatest_force_n=greatest_force,
        least_force_n=least_force,
        greatest_torque=greatest_torque,
        least_torque=least_torque,
        greatest_angle_deg=None if angles is None else angles & 0xFFF,
        least_angle_deg=None if angles is None else angles >> 12,
        top_dead_spot_deg=top,
        bottom_dead_spot_deg=bottom,
        energy_kj=energy,
        offset_compensated=bool(flags & 0x1000),
    )
