"""Cadence from counters that roll over."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.event import NS_PER_S
from replay.payloads import CRANK_MODULUS, WHEEL_MODULUS, RevolutionRate, Revolutions


@settings(max_examples=40)
@given(
    start=st.integers(0, 0xFFFF),
    start_ticks=st.integers(0, 0xFFFF),
    cadence=st.integers(20, 200),
)
def test_a_steady_cadence_survives_every_roll_over(
    start: int, start_ticks: int, cadence: int
) -> None:
    """Wherever counter and time begin, a steady cadence comes out steady over ten minutes."""
    rate = RevolutionRate()
    for turn in range(600 * cadence // 60):
        ticks = round(turn * 60 * 1024 / cadence)
        t_ns = ticks * NS_PER_S // 1024
        value = rate.feed(
            t_ns, Revolutions((start + turn) % CRANK_MODULUS, (start_ticks + ticks) % 65_536)
        )
        if turn == 0:
            assert value is None
        else:
            assert abs(value - cadence) <= 0.005 * cadence


def test_a_wheel_of_a_power_meter_counts_in_2048ths_and_32_bits() -> None:
    """The wheel counter rolls over at 2³² and its time field at 32 s."""
    rate = RevolutionRate(ticks_per_s=2048, count_modulus=WHEEL_MODULUS)
    assert rate.feed(0, Revolutions(WHEEL_MODULUS - 2, 65_000)) is None
    assert rate.feed(NS_PER_S, Revolutions(2, (65_000 + 2048) % 65_536)) == pytest.approx(240)


def test_no_new_revolution_holds_the_cadence_and_then_means_zero() -> None:
    """Repeated counts keep the last cadence until four seconds without a turn; then it is 0."""
    rate = RevolutionRate()
    rate.feed(0, Revolutions(10, 0))
    assert rate.feed(1 * NS_PER_S, Revolutions(11, 1024)) == 60
    assert rate.feed(2 * NS_PER_S, Revolutions(11, 1024)) == 60
    assert rate.feed(4 * NS_PER_S, Revolutions(11, 1024)) == 60
    assert rate.feed(5 * NS_PER_S, Revolutions(11, 1024)) == 0
    assert rate.feed(9 * NS_PER_S, Revolutions(12, 9216)) == 7.5


def test_a_silence_of_a_whole_time_field_cannot_be_counted() -> None:
    """After 64 s without a message the turns of the time field are unknown: no cadence."""
    rate = RevolutionRate()
    rate.feed(0, Revolutions(0, 0))
    assert rate.feed(64 * NS_PER_S, Revolutions(1, 1024)) is None
    assert rate.feed(65 * NS_PER_S, Revolutions(2, 2048)) == 60


@pytest.mark.parametrize("after", [Revolutions(3, 1024), Revolutions(500, 0)])
def test_a_reset_counter_gives_no_cadence(after: Revolutions) -> None:
    """A count that leaps, or that moves in no time, is a reset: not known until the next turn."""
    rate = RevolutionRate()
    rate.feed(0, Revolutions(40_000, 0))
    assert rate.feed(NS_PER_S, after) is None
    again = Revolutions(after.count + 1, after.ticks + 1024)
    assert rate.feed(2 * NS_PER_S, again) == 60


@pytest.mark.parametrize("modulus", [CRANK_MODULUS, WHEEL_MODULUS])
def test_a_counter_that_counts_down_never_gives_a_cadence(modulus: int) -> None:
    """Each step down is a leap of nearly the whole field forward, which nobody can pedal."""
    rate = RevolutionRate(count_modulus=modulus)
    values = {
        rate.feed(n * NS_PER_S, Revolutions((3 - n) % modulus, n * 1024 % 65_536))
        for n in range(60)
    }
    assert values == {None}
