"""How many independent pairs a series of dependent ones is worth.

A session of 30 min at 1 Hz has 1,800 pairs and holds about 15 to 100 independent ones.  Two
ways are used: a first-order autoregression for means and variances, and the product of two
autocorrelations (Pyper & Peterman, Can J Fish Aquat Sci 1998;55:2127–2140) for correlations.

Gaps.  Series stay on their grid; a missing second is missing, never joined over.  An
autocorrelation at lag j is the mean product over the pairs of seconds j apart that are both
present (the amplitude-modulated estimate of Parzen, Sankhya A 1963;25:383–392), and the sums
over lags count just those pairs, so that seconds on both sides of a long gap are taken for as
independent as the time between them makes them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import fft

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

FEWEST_NEIGHBOURS: Final = 30
"""Pairs of adjacent seconds below which an autocorrelation is only noise."""

_PHI_MOST: Final = 0.9999
"""Keeps sums over lags finite; series that reach it have an effective count near 1 anyway."""


def lag_counts(present: BoolArray, lags: int) -> FloatArray:
    """How many pairs of present seconds are 0 … ``lags`` s apart, float64[lags + 1]."""
    return np.rint(_lagged_sums(present.astype(float), lags))


def autocorrelation(values: FloatArray, present: BoolArray, lags: int) -> FloatArray:
    """Autocorrelation at the lags 0 … ``lags``, float64[lags + 1].

    ``values`` float64[n] on the grid, whatever stands where ``present`` bool[n] is False.  0 at
    lags for which no pair exists.  All 0 (but for lag 0) if the values do not vary.
    """
    centred = np.where(present, values, 0.0)
    centred[present] -= centred[present].mean()
    counts = lag_counts(present, lags)
    sums = _lagged_sums(centred, lags)
    result = np.zeros(lags + 1)
    result[0] = 1.0
    if sums[0] > 0:
        some = counts > 0
        result[some] = sums[some] / counts[some] / (sums[0] / counts[0])
    return result


def first_order(values: FloatArray, present: BoolArray) -> float | None:
    """AR(1) coefficient φ, corrected for its downward bias by (1 + 4φ)/N, within 0 … 1.

    The correction is Kendall's (Biometrika 1954;41:403–404) for a series whose mean is estimated.
    ``None`` if the series does not vary or has fewer than 30 pairs of adjacent seconds.
    """
    neighbours = int(np.count_nonzero(present[1:] & present[:-1]))
    if neighbours < FEWEST_NEIGHBOURS or not np.ptp(values[present]) > 0:
        return None
    raw = float(autocorrelation(values, present, 1)[1])
    corrected = raw + (1 + 4 * raw) / neighbours
    return min(max(corrected, 0.0), _PHI_MOST)


def count_for_mean(phi: float, present: BoolArray) -> float:
    """Effective count for a mean: N(1 − φ)/(1 + φ), times what the gaps change."""
    return _closed_form(phi, present)


def count_for_variance(phi: float, present: BoolArray) -> float:
    """Effective count for a variance: N(1 − φ²)/(1 + φ²), times what the gaps change."""
    return _closed_form(phi * phi, present)


def count_for_product(first: FloatArray, second: FloatArray, present: BoolArray) -> float | None:
    """Effective count N* for a correlation of two series (Pyper & Peterman 1998).

    1/N* = 1/N + (2/N) Σ (1 − j/N) ρ₁(j) ρ₂(j) over the lags j up to a fifth of the series, where
    with gaps 1 − j/N becomes the share of seconds that have a partner j later.  At most N.
    ``None`` if either series does not vary or there are fewer than 30 adjacent pairs.
    """
    if (
        np.count_nonzero(present[1:] & present[:-1]) < FEWEST_NEIGHBOURS
        or not np.ptp(first[present]) > 0
        or not np.ptp(second[present]) > 0
    ):
        return None
    start, end = np.flatnonzero(present)[[0, -1]]
    part = slice(int(start), int(end) + 1)
    first, second, present = first[part], second[part], present[part]
    lags = len(present) // 5
    total = int(np.count_nonzero(present))
    both = autocorrelation(first, present, lags) * autocorrelation(second, present, lags)
    weights = lag_counts(present, lags) / total
    inflation = 1 + 2 * float(np.dot(weights[1:], both[1:]))
    return total / max(inflation, 1.0)


def _closed_form(rho: float, present: BoolArray) -> float:
    total = int(np.count_nonzero(present))
    # Beyond this lag ρ^lag is below 1e-9 and adds nothing.
    reach = len(present) - 1 if rho > 0.99 else min(len(present) - 1, 2100)
    powers = rho ** np.arange(1, reach + 1)
    with_gaps = 1 + 2 * float(np.dot(lag_counts(present, reach)[1:] / total, powers))
    near = np.arange(1, min(reach, total - 1) + 1)
    without = 1 + 2 * float(np.dot(1 - near / total, rho**near))
    count = total * (1 - rho) / (1 + rho) * without / with_gaps
    return min(max(count, 1.0), float(total))


def _lagged_sums(values: FloatArray, lags: int) -> FloatArray:
    """Σ values[k] · values[k + j] for j = 0 … ``lags``."""
    if lags <= 2:
        size = len(values)
        return np.array([np.dot(values[: size - j], values[j:]) for j in range(lags + 1)])
    size = fft.next_fast_len(len(values) + lags, real=True)
    spectrum = fft.rfft(values, size)
    power = spectrum.real**2 + spectrum.imag**2
    sums: FloatArray = fft.irfft(power, size)[: lags + 1]
    return sums
