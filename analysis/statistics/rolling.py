"""Agreement over the newest stretch of a session, updated once a grid second in constant time.

Sums of whole numbers are exact, so that adding what comes and taking away what leaves gives,
for ever, what summing the window anew would give; float sums leave a spurious spread behind.
"""

from __future__ import annotations

from copy import deepcopy

from analysis.statistics.agreement import HISTOGRAM_BINS, Sums, Tolerance, range_of_counts
from analysis.statistics.pairing import NO_VALUE


class RollingAgreement:
    """Sums over the last ``window_s`` grid seconds, or over all of them if it is ``None``.

    A grid second without a pair takes its place in the window and adds nothing.

    >>> rolling = RollingAgreement(2, Tolerance(5, 10))
    >>> for test_mbpm in (90_000, 101_000, 102_000):
    ...     rolling.push(100_000, test_mbpm)
    >>> rolling.sums.pairs, rolling.sums.absolute
    (2, 3000)
    """

    __slots__ = (
        "_absolute", "_at", "_counts", "_pairs", "_ref", "_ref_ref", "_ref_test", "_refs", "_test",
        "_test_test", "_tests", "_tolerance", "_window_s", "_within",
    )  # fmt: skip

    def __init__(self, window_s: int | None, tolerance: Tolerance) -> None:
        if window_s is not None and window_s < 1:
            raise ValueError(f"a window has at least one second, got {window_s}")
        self._window_s = window_s
        self._tolerance = tolerance
        self._refs = [NO_VALUE] * (window_s or 0)
        self._tests = [NO_VALUE] * (window_s or 0)
        self._at = 0
        self._counts = [0] * HISTOGRAM_BINS
        self._pairs = self._ref = self._test = 0
        self._ref_ref = self._test_test = self._ref_test = 0
        self._absolute = self._within = 0

    def push(self, ref_mbpm: int, test_mbpm: int) -> None:
        """The next grid second: values in mbpm, :data:`NO_VALUE` in a gap.  Constant time."""
        # A numpy integer of 32 bits would overflow in the squares below.
        ref_mbpm, test_mbpm = int(ref_mbpm), int(test_mbpm)
        if self._window_s is not None:
            at = self._at
            old_ref, old_test = self._refs[at], self._tests[at]
            self._refs[at], self._tests[at] = ref_mbpm, test_mbpm
            self._at = at + 1 if at + 1 < self._window_s else 0
            if NO_VALUE not in (old_ref, old_test):
                self._count(old_ref, old_test, -1)
        if NO_VALUE not in (ref_mbpm, test_mbpm):
            self._count(ref_mbpm, test_mbpm, 1)

    def take_out(self, ago: int, ref_mbpm: int, test_mbpm: int) -> None:
        """Count a grid second as one without a pair from now on, once.

        ``ago``: how many pushes before the newest; ``ref_mbpm``, ``test_mbpm``: what was pushed.
        What has left the window already changes nothing.
        """
        if self._window_s is not None:
            if ago >= self._window_s:
                return
            at = (self._at - 1 - ago) % self._window_s
            self._refs[at] = self._tests[at] = NO_VALUE
        ref_mbpm, test_mbpm = int(ref_mbpm), int(test_mbpm)
        if NO_VALUE not in (ref_mbpm, test_mbpm):
            self._count(ref_mbpm, test_mbpm, -1)

    def copy(self) -> RollingAgreement:
        """One that stands as this one does and goes its own way."""
        return deepcopy(self)

    @property
    def sums(self) -> Sums:
        """The sums as they stand; equal to ``sums_of`` of the same seconds."""
        return Sums(
            pairs=self._pairs,
            ref=self._ref,
            test=self._test,
            ref_ref=self._ref_ref,
            test_test=self._test_test,
            ref_test=self._ref_test,
            absolute=self._absolute,
            within=self._within,
            range_bpm=range_of_counts(self._counts, self._pairs),
        )

    def _count(self, ref: int, test: int, sign: int) -> None:
        self._pairs += sign
        self._ref += sign * ref
        self._test += sign * test
        self._ref_ref += sign * ref * ref
        self._test_test += sign * test * test
        self._ref_test += sign * ref * test
        self._absolute += sign * abs(test - ref)
        self._counts[ref // 1000] += sign
        if self._tolerance.within(ref, test):
            self._within += sign
