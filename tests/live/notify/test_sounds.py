"""The three sounds: what they are made of, and that they cannot be taken for each other."""

from __future__ import annotations

import io
import wave

import numpy as np
import pytest

from analysis.board.snapshot import Severity
from live.notify.sounds import (
    LEAD_S,
    RATE_HZ,
    Sound,
    is_graver,
    length_s,
    sound_for,
    wav_bytes,
    waveform,
)
from live.notify.throttle import ALARM_EVERY_S

BLOCK = round(0.005 * RATE_HZ)


def samples(sound):
    """What a player gets: int16 of the file, as fractions of full scale."""
    with wave.open(io.BytesIO(wav_bytes(sound))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE_HZ)
        data = np.frombuffer(file.readframes(file.getnframes()), "<i2")
    return data / 32_768


def spectrum(part):
    """Frequencies in Hz and the share of the energy at each."""
    energy = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
    return np.fft.rfftfreq(len(part), 1 / RATE_HZ), energy / energy.sum()


def loudest_hz(part):
    frequencies, shares = spectrum(part)
    return frequencies[shares.argmax()]


def stretches(sound):
    """Start and length in s of each stretch in which the sound is heard, to 5 ms."""
    data = samples(sound)
    blocks = data[: len(data) // BLOCK * BLOCK].reshape(-1, BLOCK)
    heard = np.concatenate([[False], np.sqrt((blocks**2).mean(axis=1)) > 0.05, [False]])
    edges = np.flatnonzero(np.diff(heard.astype(int)))
    return [((a * 0.005), (b - a) * 0.005) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def test_a_fault_of_the_reference_falls():
    """One sound of 0.9 s, from 900 Hz down to 600 Hz, without a gap."""
    ((start, length),) = stretches(Sound.FALL)
    assert start == pytest.approx(LEAD_S, abs=0.006)
    assert length == pytest.approx(0.9, abs=0.015)
    data = samples(Sound.FALL)
    upper = data[round(0.2 * RATE_HZ) : round(0.45 * RATE_HZ)]
    lower = data[round(0.6 * RATE_HZ) : round(0.95 * RATE_HZ)]
    assert loudest_hz(upper) == pytest.approx(900, abs=5)
    assert loudest_hz(lower) == pytest.approx(600, abs=5)


def test_a_fault_of_a_test_sensor_ticks_twice():
    """Two sounds of some 70 ms at one pitch, a gap of the same length between them."""
    first, second = stretches(Sound.TICKS)
    assert [first[1], second[1]] == pytest.approx([0.07, 0.07], abs=0.012)
    assert second[0] - (first[0] + first[1]) == pytest.approx(0.08, abs=0.012)
    data = samples(Sound.TICKS)
    for start, length in (first, second):
        part = data[round(start * RATE_HZ) : round((start + length) * RATE_HZ)]
        assert loudest_hz(part) == pytest.approx(750, abs=15)


@pytest.mark.parametrize("sound", Sound)
def test_it_can_be_heard_without_high_tones(sound):
    """Nearly all of it lies between 500 and 2000 Hz, nine tenths of it below 1000 Hz."""
    frequencies, shares = spectrum(samples(sound))
    assert shares[(frequencies > 500) & (frequencies < 2000)].sum() > 0.99
    assert shares[(frequencies > 500) & (frequencies < 1000)].sum() > 0.9


@pytest.mark.parametrize("sound", Sound)
def test_it_neither_clips_nor_clicks(sound):
    """Never at full scale, no flattened tops, silent at both ends, no sudden step."""
    data = samples(sound)
    peak = np.abs(data).max()
    assert 0.75 < peak < 0.85
    at_top = np.abs(data) == peak  # a clipped wave stays there for several samples
    assert not (at_top[:-2] & at_top[1:-1] & at_top[2:]).any()
    assert max(np.abs(data[:BLOCK]).max(), abs(data[-1])) < 0.001
    # The steepest step that these tones make by themselves: the sum of their slopes.
    assert np.abs(np.diff(data)).max() < 2 * np.pi * 900 * (1 + 2 * 0.3) / RATE_HZ
    assert abs(data.mean()) < 0.001


def test_an_alarm_sways_up_and_down():
    """2.4 s without a pause, twelve tones that go to and fro between two pitches."""
    heard = stretches(Sound.SIREN)
    assert heard[0][0] == pytest.approx(LEAD_S, abs=0.006)
    assert sum(heard[-1]) - heard[0][0] == pytest.approx(2.4, abs=0.02)
    assert sum(length for _, length in heard) > 0.95 * 2.4  # a tone fades out and in, no more
    data = samples(Sound.SIREN)
    tops = [
        loudest_hz(data[round((LEAD_S + 0.2 * n + 0.03) * RATE_HZ) :][: round(0.14 * RATE_HZ)])
        for n in range(12)
    ]
    assert tops == pytest.approx([650, 870] * 6, abs=8)


def test_the_siren_is_the_longest_and_comes_again_soonest():
    """By length alone it is told from a fall, and its pause is shorter than itself."""
    assert length_s(Sound.SIREN) > 2 * length_s(Sound.FALL)
    assert 2 * length_s(Sound.SIREN) > ALARM_EVERY_S
    assert is_graver(Sound.SIREN, Sound.FALL)
    assert is_graver(Sound.FALL, Sound.TICKS)
    assert not is_graver(Sound.SIREN, Sound.SIREN)


def test_they_differ_without_pitch():
    """By length and rhythm alone: four times as long, and one stretch against two."""
    fall, ticks = stretches(Sound.FALL), stretches(Sound.TICKS)
    assert sum(s[1] for s in fall) > 4 * sum(s[1] for s in ticks)
    assert (len(fall), len(ticks)) == (1, 2)


@pytest.mark.parametrize(
    ("one", "other"),
    [(Sound.FALL, Sound.TICKS), (Sound.SIREN, Sound.FALL), (Sound.SIREN, Sound.TICKS)],
)
def test_they_differ_in_every_alignment(one, other):
    """However one is shifted against the other, the waveforms have little in common."""
    fall, ticks = waveform(one), waveform(other)
    size = len(fall) + len(ticks)
    product = np.fft.irfft(np.fft.rfft(fall, size) * np.conj(np.fft.rfft(ticks, size)), size)
    likeness = np.abs(product).max() / np.sqrt((fall**2).sum() * (ticks**2).sum())
    assert likeness < 0.15


def test_the_graver_has_the_graver_sound():
    """Reference and session fall, test sensors tick, a notice is silent."""
    assert [sound_for(severity) for severity in Severity] == [
        None, Sound.TICKS, Sound.FALL, Sound.FALL,
    ]  # fmt: skip
