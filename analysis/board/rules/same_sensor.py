"""Same sensor twice: two places in the plan, one device."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, SensorRule, Verdict
from analysis.board.rules.streams import Stream
from analysis.board.rules.thresholds import SAME_SENSOR, SameSensorLimits
from analysis.board.snapshot import Measure, WarningKind
from replay import event as ev
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState
    from replay.payloads import HeartRate


_IDENTITY_EVERY_S: Final = 5
"""Device Information is read once; a few seconds do not matter."""


class _Twin:
    """Readings in a row that were equal to those of another stream at the same moment."""

    __slots__ = ("changes", "equal", "source")

    def __init__(self, source: Stream) -> None:
        self.source = source
        self.equal = 0
        self.changes = 0


class SameSensor(SensorRule):
    """The same serial as a sensor before it in the plan, or identical readings.

    One address or topic for two sensors is refused with the plan.
    """

    kind = WarningKind.SAME_SENSOR

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        own: Stream,
        before: Sequence[Stream],
        limits: SameSensorLimits = SAME_SENSOR,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._own = own
        self._twins = tuple(_Twin(stream) for stream in before)
        self._window_ns = round(limits.window_s * NS_PER_S)
        self._same: SensorState | None = None
        self._why = ""
        self._by_identity = False

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        own = self._own.look(second)
        if second % _IDENTITY_EVERY_S == 0:
            self._compare_identities()
        if self._by_identity:
            return BAD
        if not own.new_readings:
            return UNSURE
        self._same = None
        oldest_ns = own.readings[-min(own.new_readings, len(own.readings))][0] - self._window_ns
        for twin in self._twins:
            source = twin.source
            theirs = source.readings if source.second == second else source.look(second).readings
            if not theirs or theirs[-1][0] < oldest_ns:
                twin.equal = twin.changes = 0
                continue
            self._compare_readings(twin)
            if twin.equal >= self._limits.readings and twin.changes >= self._limits.changes:
                self._same = twin.source.sensor
                self._why = f"its last {twin.equal} readings were the same at the same moment"
        return BAD if self._same else GOOD

    def since(self) -> int:
        """See :class:`Rule`."""
        if self._by_identity:
            return self.session.second
        readings = self._own.readings
        first = max(0, len(readings) - self._limits.readings)
        return readings[first][0] // NS_PER_S

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        label = self._same.label if self._same else "another"
        equal = max((twin.equal for twin in self._twins), default=0)
        return Explanation(
            f"{self.name} and {label} are the same sensor: {self._why}.",
            "Take one of the two out of the plan, or connect the sensor that was meant.",
            (Measure("equal readings in a row", equal, "", self._limits.readings),),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return "Their readings differ again."

    def _compare_identities(self) -> None:
        own = self.watched
        for twin in self._twins:
            other = twin.source.sensor
            why = _same_device(own, other, self._limits.least_serial)
            if why:
                self._same, self._why, self._by_identity = other, why, True
                return

    def _compare_readings(self, twin: _Twin) -> None:
        source, own = twin.source, self._own
        readings = own.readings
        first = max(0, len(readings) - own.new_readings)
        for at in range(first, len(readings)):
            t_ns, reading = readings[at]
            if not self._has_equal(source, t_ns, reading):
                twin.equal = twin.changes = 0
                continue
            twin.equal += 1
            twin.changes += at == 0 or reading != readings[at - 1][1]

    def _has_equal(self, source: Stream, t_ns: int, reading: HeartRate) -> bool:
        for at_ns, theirs in reversed(source.readings):
            if at_ns < t_ns - self._window_ns:
                return False
            if at_ns > t_ns + self._window_ns or theirs.mbpm != reading.mbpm:
                continue
            if theirs == reading:
                return True
        return False


def _same_device(own: SensorState, other: SensorState, least_serial: int) -> str:
    serial = own.texts.get(ev.SERIAL, "")
    if len(serial) < least_serial or len(set(serial)) == 1:
        return ""
    alike = all(
        own.texts.get(channel) == other.texts.get(channel)
        for channel in (ev.SERIAL, ev.MODEL, ev.MAKER)
    )
    return f"both report the serial number {serial}" if alike else ""
