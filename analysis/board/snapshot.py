"""What the board knows at one instant, as plain frozen values that every view reads.

All values are facts of the events up to ``t_ns``; two boards fed the same events give equal
snapshots, which is how a replay is compared with the live run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from typing import Final, NamedTuple, TypeAlias

from analysis.statistics.agreement import LiveSummary
from analysis.statistics.effort_finder import EffortState
from replay.link_state import LinkState

FEWEST_SHOWN: Final = 30
"""Half a minute: of fewer pairs, neighbours of one another, a share of 100 % says nothing."""


class Severity(IntEnum):
    """How much a warning matters; faults of the reference stand above all others."""

    NOTICE = 1
    """Good to know; nothing is being lost (battery low)."""
    TEST_FAULT = 2
    """A test sensor's readings are missing or doubtful."""
    REFERENCE_FAULT = 3
    """The reference is missing or doubtful: nothing can be compared."""
    SESSION_FAULT = 4
    """The capture itself is in danger (disk nearly full, clock stepped)."""


class WarningKind(StrEnum):
    """The rules; the value is what is stored, listed and documented."""

    NOT_STARTED = "not started"
    SILENT = "silent"
    THINNING = "thinning"
    NO_CONTACT = "no contact"
    LOOSE_REFERENCE = "loose reference"
    FROZEN = "frozen"
    ON_CADENCE = "on cadence"
    APART = "apart"
    LATE = "late"
    OUTVOTED_REFERENCE = "outvoted reference"
    REFERENCE_LOST = "reference lost"
    SWAPPED_LABELS = "labels swapped"
    RELAY = "relay"
    UNIT_SLIP = "unit slip"
    SAME_SENSOR = "same sensor twice"
    BROKER_AWAY = "broker away"
    CLOCK_JUMP = "clock jump"
    LOW_BATTERY = "battery low"
    WEAK_SIGNAL = "signal weak"
    DISK_LOW = "disk nearly full"
    CAPTURE_LATE = "capture late"


@dataclass(frozen=True, slots=True)
class Measure:
    """One value that a rule looked at, beside its threshold (``None``: only for information)."""

    name: str
    value: float
    unit: str
    threshold: float | None = None


@dataclass(frozen=True, slots=True)
class SensorWarning:
    """One warning from its start to its end.

    ``number``: counts the warnings of a session from 1.  ``sensor``: number in the plan, 0 for
    the session.  ``start_s``: grid second at which it was raised; ``since_s``: grid second at
    which the fault underneath it began, never later than ``start_s``.  ``end_s``: grid second at
    which it cleared, ``None`` while it stands.  ``cause`` and ``advice``: one sentence each.
    ``cleared``: how it ended, empty while it stands.  ``acknowledged_s``: second at which the
    tester said that it is known, ``None`` if that was not said.
    """

    number: int
    kind: WarningKind
    sensor: int
    severity: Severity
    since_s: int
    start_s: int
    end_s: int | None
    cause: str
    advice: str
    cleared: str = ""
    measures: tuple[Measure, ...] = ()
    acknowledged_s: float | None = None

    @property
    def calls(self) -> bool:
        """Whether it stands and nobody has said yet that it is known."""
        return self.end_s is None and self.acknowledged_s is None


@dataclass(frozen=True, slots=True)
class RuleFailure:
    """A rule that failed and is switched off: the rest of the session is without it.

    ``kind``, ``sensor``: which rule; ``second``: grid second at which it failed; ``error``: what
    Python said.
    """

    kind: WarningKind
    sensor: int
    second: int
    error: str


Agreement: TypeAlias = LiveSummary
"""Of one test sensor with the reference over one stretch of grid seconds."""


def is_few(found: Agreement) -> bool:
    """Whether there are too few pairs for a share or a correlation to be shown."""
    return found.pairs < FEWEST_SHOWN


@dataclass(frozen=True, slots=True)
class EffortCounts:
    """How many efforts a test sensor has followed, and how many it showed late, blunted or not at
    all; those at which it had no values are in none of them.
    """

    followed: int = 0
    late: int = 0
    blunted: int = 0
    missed: int = 0

    @property
    def judged(self) -> int:
        """All of them."""
        return self.followed + self.late + self.blunted + self.missed


class SensorStatus(NamedTuple):
    """One sensor's card.  A tuple, since views have all of them made anew twice a second.

    ``bpm``: newest valid reading, ``age_s`` its age at the snapshot; ``None`` before the first.
    ``held_bpm``: its value at the last closed grid second, ``None`` in a gap.  ``rate_hz``:
    notifications a second over the last 10 s.  ``contact``: ``None`` if the sensor does not say.
    ``coverage``: share (0–1) of the closed grid seconds with a valid reading.  ``gaps``:
    stretches without one so far; ``gap_s`` their total length.  ``difference_bpm``: to the
    reference at the last closed grid second; ``within``: inside the tolerance.
    ``windows``: agreement over all seconds by window name (``"1 min"``, ``"5 min"``,
    ``"session"``); empty for sensors that are not under test.  ``without_exclusions``: the same
    without the seconds in which the reference was at fault; empty while there are none.
    ``is_acquiring``: it has only just begun to send and has not found the heart yet.
    ``efforts``: what it made of the efforts so far; ``None`` for sensors that are not under test.
    ``doubtful``: readings of a test sensor that leapt as no heart does.  ``delay_s``: median delay
    at the efforts so far; ``None`` where none tells it.
    """

    number: int
    label: str
    role: str
    placement: str
    link: LinkState
    advice: str
    bpm: float | None
    age_s: float | None
    held_bpm: float | None
    rate_hz: float
    contact: bool | None
    rr_per_s: float
    battery_percent: int | None
    signal_dbm: int | None
    firmware: str
    model: str
    notifications: int
    malformed: int
    doubled: int
    coverage: float
    gaps: int
    gap_s: int
    difference_bpm: float | None
    within: bool | None
    windows: Mapping[str, Agreement]
    without_exclusions: Mapping[str, Agreement]
    is_acquiring: bool
    efforts: EffortCounts | None
    doubtful: int
    delay_s: float | None

    @property
    def counted(self) -> Mapping[str, Agreement]:
        """The agreement that is shown first: without what is left out."""
        return self.without_exclusions or self.windows

    @property
    def shown_bpm(self) -> float | None:
        """What views show beside ``difference_bpm``, of the same second; in a gap the newest."""
        return self.bpm if self.held_bpm is None else self.held_bpm

    @property
    def state(self) -> str:
        """What it is doing, in a word: the state of its link, or looking for the heart."""
        return "acquiring" if self.is_acquiring else self.link.value


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The whole board at ``t_ns``.

    ``second``: last closed grid second (-1 before the first).  ``open_warnings``: those that
    stand, most severe first; ``closed_warnings``: how many have ended.  ``failed_rules``: rules
    that are switched off since they failed.  ``effort``: which one is under way or has returned
    last; ``None`` before the first.  ``left_out_s``: closed grid seconds in which the reference was
    at fault, that ``without_exclusions`` of the sensors leaves out.
    """

    t_ns: int
    second: int
    utc_ns: int | None
    invented: bool
    sensors: tuple[SensorStatus, ...]
    open_warnings: tuple[SensorWarning, ...]
    closed_warnings: int
    markers: int
    failed_rules: tuple[RuleFailure, ...]
    effort: EffortState | None
    left_out_s: int
