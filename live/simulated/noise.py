"""Random numbers that come out the same on every machine.

The bundled recordings are remade and compared event by event, on any computer.  So the
simulation draws nothing but uniform doubles (seed sequence and PCG64 are fixed by numpy for
good, its other distributions are not) and computes with + − × ÷ and square roots, which IEEE 754
rounds alike everywhere; exp, sin and their kind differ in the last digit between C libraries.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

_BLOCK: Final = 2048
_TERMS: Final = 6
_SCALE: Final = math.sqrt(12 / _TERMS)


class Noise:
    """One stream of random numbers; streams with different ``path`` are independent."""

    def __init__(self, seed: int, *path: int) -> None:
        self._generator = np.random.Generator(
            np.random.PCG64(np.random.SeedSequence(seed, spawn_key=path))
        )
        self._block: list[float] = []

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """A number in [low, high)."""
        if not self._block:
            self._block = self._generator.random(_BLOCK).tolist()
        return low + (high - low) * self._block.pop()

    def normal(self, sd: float = 1.0) -> float:
        """Nearly Gaussian, mean 0: a scaled sum of six uniforms, so never beyond 4.3 SD."""
        if len(self._block) < _TERMS:
            total = -_TERMS / 2
            for _ in range(_TERMS):
                total += self.uniform()
        else:  # the same sum in the same order, without six calls: this is half of a simulation
            pop = self._block.pop
            total = -_TERMS / 2 + pop() + pop() + pop() + pop() + pop() + pop()
        return sd * _SCALE * total

    def chance(self, probability: float) -> bool:
        """True in this share of the calls."""
        return self.uniform() < probability


class SlowNoise:
    """Noise that is correlated in time: an Ornstein–Uhlenbeck process of SD 1.

    ``memory_s``: time after which the correlation has fallen to 1/e.
    """

    def __init__(self, noise: Noise, memory_s: float, step_s: float) -> None:
        self._noise = noise
        self._keep = 1.0 - step_s / memory_s
        self._kick = math.sqrt(1.0 - self._keep * self._keep)
        self._value = noise.normal()

    def step(self) -> float:
        """The value one step later."""
        self._value = self._keep * self._value + self._kick * self._noise.normal()
        return self._value
