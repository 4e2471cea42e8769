"""The pairs of a session as arrays, with what is left out of the statistics marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.session.load import SessionData
from analysis.session.record import SessionRecord
from analysis.statistics.pairing import pairs_of
from analysis.statistics.stretch import Stretch, concerning, kept_seconds


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """The pairs of one test sensor with the reference, in order of time.

    ``second`` int64[n]: grid seconds.  ``reference``, ``test``: int32[n] in thousandths of a bpm.
    ``excluded`` bool[n]: left out of the statistics, because of ``exclusions``; the others are
    those that :attr:`analysis.session.record.SensorRecord.counted` rests on.
    """

    number: int
    label: str
    second: npt.NDArray[np.int64]
    reference: npt.NDArray[np.int32]
    test: npt.NDArray[np.int32]
    excluded: npt.NDArray[np.bool_]
    exclusions: tuple[Stretch, ...]

    @property
    def reference_bpm(self) -> npt.NDArray[np.float64]:
        """float64[n]."""
        return self.reference / 1000

    @property
    def test_bpm(self) -> npt.NDArray[np.float64]:
        """float64[n]."""
        return self.test / 1000

    def why(self, second: int) -> str | None:
        """Why a second is left out; ``None`` if it is not."""
        reasons = dict.fromkeys(
            one.reason for one in self.exclusions if one.start_s <= second < one.end_s
        )
        return "; ".join(reasons) if reasons else None


def session_pairs(record: SessionRecord, data: SessionData) -> tuple[Pairs, ...]:
    """Of each test sensor, in the order of the plan.  ``data``: of the same session."""
    return tuple(_pairs(record.exclusions, data, number) for number in data.plan.tests)


def _pairs(exclusions: Sequence[Stretch], data: SessionData, number: int) -> Pairs:
    reference, test = data.reference, data.sensors[number]
    stretches = concerning(exclusions, reference.number, number)
    paired = pairs_of(reference.grid, test.grid) & data.plan.is_comparable(number)
    second = np.flatnonzero(paired)
    return Pairs(
        number=number,
        label=test.sensor.label,
        second=second,
        reference=reference.grid[second],
        test=test.grid[second],
        excluded=~kept_seconds(data.seconds, stretches)[second],
        exclusions=tuple(stretches),
    )
