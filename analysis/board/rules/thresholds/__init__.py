"""Every threshold of the rules, with its reason beside it.

Times are in seconds of the grid, heart rates in thousandths of a bpm (``_mbpm``).  Reasons that
begin with "Chosen" are our own judgement, tried on simulated sessions; the others are facts of
the sensors or of the heart.
What the rules use unless a test says otherwise stands in capitals.
"""

from __future__ import annotations

from analysis.board.rules.thresholds.comparison import (
    APART,
    CADENCE,
    DELAY,
    DEVIATION,
    FROZEN,
    LATE,
    OUTVOTED,
    REFERENCE_LOST,
    ApartLimits,
    CadenceLimits,
    DelayLimits,
    DeviationLimits,
    FrozenLimits,
    LateLimits,
    OutvotedLimits,
    ReferenceLostLimits,
)
from analysis.board.rules.thresholds.links import (
    BATTERY,
    NOT_STARTED,
    SESSION,
    SIGNAL,
    SILENT,
    THINNING,
    BatteryLimits,
    NotStartedLimits,
    SessionLimits,
    SignalLimits,
    SilentLimits,
    ThinningLimits,
)
from analysis.board.rules.thresholds.readings import (
    BEAT,
    CONTACT,
    LOOSE,
    RELAY,
    SAME_SENSOR,
    UNIT_SLIP,
    BeatLimits,
    ContactLimits,
    LooseLimits,
    RelayLimits,
    SameSensorLimits,
    UnitSlipLimits,
)

__all__ = [
    "APART",
    "BATTERY",
    "BEAT",
    "CADENCE",
    "CONTACT",
    "DELAY",
    "DEVIATION",
    "FROZEN",
    "LATE",
    "LOOSE",
    "NOT_STARTED",
    "OUTVOTED",
    "REFERENCE_LOST",
    "RELAY",
    "SAME_SENSOR",
    "SESSION",
    "SIGNAL",
    "SILENT",
    "THINNING",
    "UNIT_SLIP",
    "ApartLimits",
    "BatteryLimits",
    "BeatLimits",
    "CadenceLimits",
    "ContactLimits",
    "DelayLimits",
    "DeviationLimits",
    "FrozenLimits",
    "LateLimits",
    "LooseLimits",
    "NotStartedLimits",
    "OutvotedLimits",
    "ReferenceLostLimits",
    "RelayLimits",
    "SameSensorLimits",
    "SessionLimits",
    "SignalLimits",
    "SilentLimits",
    "ThinningLimits",
    "UnitSlipLimits",
]
