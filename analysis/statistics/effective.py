"""Autocorrelation on a grid with gaps.

Gaps.  Series stay on their grid; a missing second is missing, never joined over.  An
autocorrelation at lag j is the mean product over the pairs of seconds j apart that are both
present (the amplitude-modulated estimate of Parzen, Sankhya A 1963;25:383–392), and sums
over lags count just those pairs, so that seconds on both sides of a long gap are taken for as
independent as the time between them makes them.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_FEW_LAGS: Final = 32
"""Up to which a product for each lag takes less time than a Fourier transform of an hour."""

FEWEST_NEIGHBOURS: Final = 30
"""Pairs of adjacent seconds below which an autocorrelation is only noise."""


def lag_counts(present: BoolArray, lags: int) -> FloatArray:
    """How many pairs of present seconds are 0 … ``lags`` < n s apart, float64[lags + 1].

    >>> import numpy as np
    >>> lag_counts(np.array([True, True, False, True]), 2).tolist()
    [3.0, 1.0, 1.0]
    """
    # One grid is asked for several times, of each sensor again; a count does not depend on how
    # far the others reach.
    return _all_lag_counts(np.asarray(present, dtype=bool).tobytes())[: lags + 1]


@lru_cache(maxsize=16)
def _all_lag_counts(present: bytes) -> FloatArray:
    """:func:`lag_counts` of all lags, of a bool[n] as bytes."""
    values = np.frombuffer(present, dtype=bool).astype(float)
    counts: FloatArray = np.rint(lagged_sums(values, len(values) - 1))
    counts.flags.writeable = False
    return counts


def lagged_correlation(values: FloatArray, present: BoolArray, lags: int) -> FloatArray:
    """Autocorrelation at the lags 0 … ``lags``, over the spread of the very pairs of each lag.

    ``values`` float64[n] on the grid, whatever stands where ``present`` bool[n] is False.  0 at
    lags for which no pair exists.  With gaps this is much steadier where neighbours are nearly
    equal than one common spread would be, and never exceeds 1.

    >>> import numpy as np
    >>> lagged_correlation(np.array([1.0, -1, 1, -1]), np.ones(4, bool), 1).tolist()
    [1.0, -1.0]
    """
    centred = _centred(values, present)
    result = np.zeros(lags + 1)
    result[0] = 1.0
    size = len(values)
    for lag in range(1, min(lags, size - 1) + 1):
        both = present[: size - lag] & present[lag:]
        before, after = centred[: size - lag][both], centred[lag:][both]
        spread = float(np.dot(before, before)) * float(np.dot(after, after))
        if spread > 0:
            result[lag] = float(np.dot(before, after)) / spread**0.5
    return result


def _centred(values: FloatArray, present: BoolArray) -> FloatArray:
    """The values less their mean, 0 in gaps."""
    centred: FloatArray = np.where(present, values - values[present].mean(), 0.0)
    return centred


def neighbours(present: BoolArray) -> int:
    """Number of adjacent seconds that are both present.

    >>> import numpy as np
    >>> neighbours(np.array([True, True, False, True]))
    1
    """
    return int(np.count_nonzero(present[1:] & present[:-1]))


def lagged_sums(values: FloatArray, lags: int) -> FloatArray:
    """Σ values[k] · values[k + j] for j = 0 … ``lags``, float64[lags + 1]."""
    if lags <= _FEW_LAGS:
        size = len(values)
        return np.array([values[: size - j].dot(values[j:]) for j in range(lags + 1)])
    size = scipy.fft.next_fast_len(len(values) + lags, real=True)
    spectrum = scipy.fft.rfft(values, size)
    power = spectrum.real**2 + spectrum.imag**2
    sums: FloatArray = scipy.fft.irfft(power, size)[: lags + 1]
    return sums
