"""Same sensor twice: two places in the plan, one device."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, SensorRule, Verdict
from analysis.board.rules.sightings import Sightings
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
    """Readings that were equal to those of another stream at the same moment, none being unlike.

    ``with_rr``: how many of them carried RR; ``changes``: how many were new; ``alone``: readings in
    a row at whose moment the other had none; ``unlike``: readings in a row that differed.
    """

    __slots__ = ("alone", "changes", "equal", "first_s", "source", "unlike", "with_rr")

    def __init__(self, source: Stream) -> None:
        self.source = source
        self.unlike = 0
        self.restart()

    def restart(self) -> None:
        self.equal = self.changes = self.with_rr = self.alone = 0
        self.first_s = -1


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
        *,
        sightings: Sightings,
        limits: SameSensorLimits = SAME_SENSOR,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._own = own
        self._twins = tuple(_Twin(stream) for stream in before)
        self._sightings = sightings
        sightings.tell(self, own)
        self._has_equal_ones = False
        self._window_ns = round(limits.window_s * NS_PER_S)
        self._same: SensorState | None = None
        self._since = 0
        self._why = ""
        self._by_identity = False
        self._said = 0

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        own = self._own
        self._sightings.look(second)
        self.quiet_until = 0
        if second % _IDENTITY_EVERY_S == 0:
            self._compare_identities()
        if self._by_identity:
            return BAD
        if not own.new_readings:
            return UNSURE
        together = self._sightings.together(own)
        # Nearly always: none before was equal, and none has come to a value at the same moment.
        if not (together or self._same or self._has_equal_ones):
            self.quiet_until = second - second % _IDENTITY_EVERY_S + _IDENTITY_EVERY_S
            return GOOD
        oldest_ns = own.readings[-min(own.new_readings, len(own.readings))][0] - self._window_ns
        for twin in self._twins:
            # Nor are they of any other than the one that it was found to be.
            if twin.equal or self._same is twin.source.sensor:
                self._compare(twin, oldest_ns)
            elif twin.source in together:
                self._begin(twin)
        self._has_equal_ones = any(twin.equal for twin in self._twins)
        return BAD if self._same else GOOD

    def _compare(self, twin: _Twin, oldest_ns: int) -> None:
        source = twin.source
        theirs = source.readings
        if theirs and theirs[-1][0] >= oldest_ns:
            readings = self._own.readings
            self._compare_readings(twin, max(0, len(readings) - self._own.new_readings))
        else:
            self._found_alone(twin)
        if self._same is source.sensor:
            if self._is_over(twin):
                self._same = None
        else:
            self._ask_whether_same(twin)

    def _begin(self, twin: _Twin) -> None:
        """The two came to a value together: count their equal readings, also those before it."""
        readings, alone = self._own.readings, 0
        first = len(readings)
        while first:
            equal = self._has_equal(twin.source, *readings[first - 1])
            alone = alone + 1 if equal is None else 0
            if equal is False or alone > self._limits.lost:
                break
            first -= 1
        self._compare_readings(twin, first)
        self._ask_whether_same(twin)

    def _ask_whether_same(self, twin: _Twin) -> None:
        if self._same is not None or twin.changes < self._limits.changes:
            return
        if twin.equal >= self._limits.readings or twin.with_rr >= self._limits.rr_readings:
            self._same, self._since = twin.source.sensor, twin.first_s
            self._why = f"its last {twin.equal} readings were the same at the same moment"

    def _is_over(self, twin: _Twin) -> bool:
        limits = self._limits
        return twin.unlike >= limits.clear_unlike or twin.alone >= limits.clear_alone

    def since(self) -> int:
        """See :class:`Rule`."""
        return self.session.second if self._by_identity else self._since

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
        """Hold what the sensors say of themselves against each other, when one has said more."""
        said = self.watched.said
        for twin in self._twins:
            said += twin.source.sensor.said
        if said == self._said:
            return
        self._said = said
        serial = self.watched.texts.get(ev.SERIAL, "")
        if len(serial) < self._limits.least_serial or len(set(serial)) == 1:
            return
        for twin in self._twins:
            other = twin.source.sensor
            if _is_same_device(self.watched, other):
                self._same, self._by_identity = other, True
                self._why = f"both report the serial number {serial}"
                return

    def _found_alone(self, twin: _Twin) -> None:
        """What either has lost on the way says nothing, up to a limit."""
        twin.alone += 1
        if twin.alone > self._limits.lost and self._same is not twin.source.sensor:
            twin.restart()

    def _compare_readings(self, twin: _Twin, first: int) -> None:
        readings = self._own.readings
        for at in range(first, len(readings)):
            t_ns, reading = readings[at]
            equal = self._has_equal(twin.source, t_ns, reading)
            if equal is None:
                self._found_alone(twin)
            elif not equal:
                twin.unlike += 1
                twin.restart()
            else:
                if not twin.equal:
                    twin.first_s = t_ns // NS_PER_S
                twin.equal += 1
                twin.with_rr += bool(reading.rr)
                twin.changes += at == 0 or reading != readings[at - 1][1]
                twin.alone = twin.unlike = 0

    def _has_equal(self, source: Stream, t_ns: int, reading: HeartRate) -> bool | None:
        """Whether a reading at this moment is equal; ``None`` where there is none."""
        any_there = None
        for at_ns, theirs in reversed(source.readings):
            if at_ns < t_ns - self._window_ns:
                break
            if at_ns <= t_ns + self._window_ns:
                if theirs == reading:
                    return True
                any_there = False
        return any_there


def _is_same_device(own: SensorState, other: SensorState) -> bool:
    return all(
        own.texts.get(channel) == other.texts.get(channel)
        for channel in (ev.SERIAL, ev.MODEL, ev.MAKER)
    )
