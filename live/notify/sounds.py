"""The three sounds, made here: a falling interval for the reference, a double tick for a test
sensor, and a siren for a recording that has ended unasked or is in danger.

They differ in three ways at once, so that any one of them is enough: in length (2.4 s, 0.9 s and a
quarter of that), in rhythm (a sway to and fro, one long sound, two short ones) and in pitch (up and
down twelve times, falling, level).  Rhythm and length are heard at low volume and by those who hear
no pitch in noise.  The siren alone comes again and again, with a pause shorter than itself.

All tones lie between 600 and 900 Hz.  Hearing that fades with age or noise fades from the high end,
and is usually still good there; below some 500 Hz the loudspeakers of small computers give little,
and the noise of fans and ergometers is strongest.  One overtone, an octave higher, makes them stand
off from single tones of other devices.  (Common practice for alarms in noisy rooms, from memory.)
"""

from __future__ import annotations

import io
import wave
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.board.snapshot import Severity

RATE_HZ: Final = 44_100
PEAK: Final = 0.8
"""Of full scale: a margin against clipping where a mixer adds other sounds."""
OVERTONE: Final = 0.3
FADE_S: Final = 0.008
"""Long enough that on and off are no clicks, short enough that a tick stays a tick."""
LEAD_S: Final = 0.12
"""Silence in front: outputs that have gone to sleep swallow the first moment of a sound."""


class Sound(StrEnum):
    """A sound by its name."""

    FALL = "fall"
    """A fault of the reference or of the session: nothing can be compared."""
    TICKS = "ticks"
    """A fault of a test sensor."""
    SIREN = "siren"
    """The recording has ended unasked, or its file is in danger."""


_TONES: Final[dict[Sound, tuple[tuple[float, float], ...]]] = {
    # A falling fifth, the interval that a chord's ground is known by; no gap between the tones.
    Sound.FALL: ((900.0, 0.4), (600.0, 0.5)),
    # The gap is as long as a tick: closer, and in an echoing hall they would be one.
    Sound.TICKS: ((750.0, 0.075), (0.0, 0.075), (750.0, 0.075)),
    # Up and down in the same band, faster than anybody breathes or rows, so that it is no rhythm of
    # the session.
    Sound.SIREN: ((650.0, 0.2), (870.0, 0.2)) * 6,
}
"""Frequency in Hz (0: silence) and length in s, one after another."""


_GRAVITY: Final = (Sound.TICKS, Sound.FALL, Sound.SIREN)


def is_graver(sound: Sound, other: Sound) -> bool:
    """Whether one sound may cut the other short."""
    return _GRAVITY.index(sound) > _GRAVITY.index(other)


def length_s(sound: Sound) -> float:
    """How long it lasts, with the silence in front."""
    return LEAD_S + sum(length for _, length in _TONES[sound])


def sound_for(severity: Severity) -> Sound | None:
    """The sound of a warning; a notice has none, since nothing is being lost."""
    if severity >= Severity.REFERENCE_FAULT:
        return Sound.FALL
    return Sound.TICKS if severity is Severity.TEST_FAULT else None


def waveform(sound: Sound) -> npt.NDArray[np.float64]:
    """The sound as float64[n] between −1 and 1 at :data:`RATE_HZ`, with silence in front."""
    parts = [np.zeros(round(LEAD_S * RATE_HZ))]
    parts += [_tone(frequency, length) for frequency, length in _TONES[sound]]
    joined = np.concatenate(parts)
    made: npt.NDArray[np.float64] = joined * (PEAK / np.abs(joined).max())
    return made


def _tone(frequency_hz: float, length: float) -> npt.NDArray[np.float64]:
    times = np.arange(round(length * RATE_HZ)) / RATE_HZ
    turn = 2 * np.pi * frequency_hz * times
    edge = np.minimum(times, times[::-1]) / FADE_S
    envelope = np.sin(0.5 * np.pi * np.minimum(edge, 1.0)) ** 2
    made: npt.NDArray[np.float64] = envelope * (np.sin(turn) + OVERTONE * np.sin(2 * turn))
    return made


def wav_bytes(sound: Sound) -> bytes:
    """The sound as a WAV file: one channel, 16 bit."""
    samples = np.round(waveform(sound) * 32_767).astype("<i2")
    held = io.BytesIO()
    with wave.open(held, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(samples.tobytes())
    return held.getvalue()
