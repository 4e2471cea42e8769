"""The agreement of each test sensor as it stands: whole, and without the reference's bad stretches.

What is left out is what the analysis is going to leave out (:mod:`.exclusion_suggestions`).  That a
stretch was bad is found after it began: its pairs have been counted by then and are taken out again
at raising, which whole-number sums allow without a rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.board.exclusion_suggestions import is_left_out
from analysis.board.sensor import SensorState
from analysis.board.snapshot import Agreement, SensorWarning
from analysis.statistics.agreement import Tolerance
from analysis.statistics.rolling import RollingAgreement

WINDOWS: Final[dict[str, int | None]] = {"1 min": 60, "5 min": 300, "session": None}
"""Stretches over which the agreement of each test sensor is kept, in seconds."""

_PLACES: Final = {name: place for place, name in enumerate(WINDOWS)}


class _Compared:
    """One test sensor.  ``kept``: without what is left out; ``None`` while that is nothing."""

    __slots__ = ("kept", "sensor", "whole")

    def __init__(self, sensor: SensorState, tolerance: Tolerance) -> None:
        self.sensor = sensor
        self.whole = RollingAgreement(list(WINDOWS.values()), tolerance)
        self.kept: RollingAgreement | None = None


class LiveAgreement:
    """The rolling agreements of a session's test sensors.

    The pairs of a closed second stay as they are: they are counted when somebody asks, which for a
    session that is only computed is once, at its end.
    """

    def __init__(
        self, reference: SensorState, tests: Iterable[SensorState], tolerance: Tolerance
    ) -> None:
        self._reference = reference
        self._compared = {sensor.number: _Compared(sensor, tolerance) for sensor in tests}
        self._each = list(self._compared.values())
        self._counted_s = 0
        self._left_out = bytearray()
        self._left_out_s = 0
        self._seen = 0
        self._standing: list[int] = []

    @property
    def left_out_s(self) -> int:
        """Closed grid seconds that are left out since the reference was at fault."""
        return self._left_out_s

    @property
    def left_out(self) -> npt.NDArray[np.bool_]:
        """Which of the closed grid seconds these are, bool[seconds]; a copy."""
        return np.frombuffer(bytes(self._left_out), dtype=np.bool_)

    def close_second(self) -> None:
        """A grid second has been closed by all sensors."""
        self._left_out.append(0)

    @property
    def leaves_out(self) -> bool:
        """Whether the reference is at fault, as of the newest second."""
        return bool(self._standing)

    def is_left_out(self, second: int) -> bool:
        """Whether this closed grid second is."""
        return bool(self._left_out[second])

    def leave_out(self, second: int, warnings: Sequence[SensorWarning]) -> int | None:
        """Take out what ``warnings`` now say of the closed seconds; returns the first that was not
        out before, ``None`` for none.

        ``warnings``: all so far, as the rules have left them at ``second``; their list only grows.
        """
        if self._seen == len(warnings) and not self._standing:
            return None
        number = self._reference.number
        taken: list[int] = []
        for place in range(self._seen, len(warnings)):
            warning = warnings[place]
            if warning.sensor == number and is_left_out(warning):
                end_s = second + 1 if warning.end_s is None else warning.end_s
                taken += self._take_out(range(warning.since_s, end_s), second)
                self._standing.append(place)
        self._seen = len(warnings)
        self._standing = [at for at in self._standing if warnings[at].end_s is None]
        if self._standing:
            taken += self._take_out(range(second, second + 1), second)
        return min(taken, default=None)

    def whole(self, number: int) -> Mapping[str, Agreement]:
        """Over all seconds, by the window's name; empty for a sensor that is not compared."""
        self._count()
        one = self._compared.get(number)
        return {} if one is None else _Windows(one.whole)

    def without_exclusions(self, number: int) -> Mapping[str, Agreement]:
        """Without what is left out; empty while that is nothing."""
        self._count()
        one = self._compared.get(number)
        return {} if one is None or one.kept is None else _Windows(one.kept)

    def _count(self) -> None:
        """Count the pairs of the seconds closed since the last time."""
        closed_s = len(self._left_out)
        if self._counted_s == closed_s:
            return
        new = slice(self._counted_s, closed_s)
        reference = self._reference.grid.view[new]
        for one in self._each:
            test = one.sensor.grid.view[new]
            one.whole.extend(reference, test)
            if one.kept is not None:
                one.kept.extend(reference, test)
        self._counted_s = closed_s

    def _take_out(self, stretch: range, newest: int) -> list[int]:
        seconds = [second for second in stretch if not self._left_out[second]]
        if not seconds:
            return []
        self._count()
        for second in seconds:
            self._left_out[second] = 1
        self._left_out_s += len(seconds)
        reference = self._reference.held
        for one in self._each:
            held = one.sensor.held
            if one.kept is None:
                one.kept = one.whole.copy()
            for second in seconds:
                one.kept.take_out(newest - second, reference[second], held[second])
        return seconds


class _Windows(Mapping[str, Agreement]):
    """The agreement of one sensor as of one second, each window worked out when somebody asks: a
    view shows one or two of them, and of the sensors in sight.
    """

    __slots__ = ("_found", "_standing")

    def __init__(self, rolling: RollingAgreement) -> None:
        self._standing: Final = rolling.standing
        self._found: Final[dict[str, Agreement]] = {}

    def __getitem__(self, name: str) -> Agreement:
        found = self._found.get(name)
        if found is None:
            found = self._found[name] = self._standing[_PLACES[name]].sums.summary()
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(WINDOWS)

    def __len__(self) -> int:
        return len(WINDOWS)

    def __repr__(self) -> str:
        return repr(dict(self))
