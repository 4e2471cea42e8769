"""What to do about a warning in two or three words: large on a far screen, or spoken.

The warning's own advice is the whole of it; these words must be taken in while exercising.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.board.snapshot import SensorWarning, WarningKind
from replay.event import SESSION
from replay.plan import Plan

_DO: Final[dict[WarningKind, tuple[str, str]]] = {
    WarningKind.NOT_STARTED: ("START {}", "start it"),
    WarningKind.SILENT: ("WAKE {}", "it is silent"),
    WarningKind.THINNING: ("{} NEARER", "bring it nearer"),
    WarningKind.NO_CONTACT: ("TIGHTEN {}", "tighten it"),
    WarningKind.LOOSE_REFERENCE: ("TIGHTEN {}", "tighten it"),
    WarningKind.FROZEN: ("RESTART {}", "restart it"),
    WarningKind.ON_CADENCE: ("MOVE {} UP", "move it up the arm"),
    WarningKind.APART: ("RESEAT {}", "seat it again"),
    WarningKind.LATE: ("{} LATE", "it is late"),
    WarningKind.OUTVOTED_REFERENCE: ("CHECK {}", "check it"),
    WarningKind.REFERENCE_LOST: ("WET {}", "wet it"),
    WarningKind.SWAPPED_LABELS: ("CHECK LABELS", "check the labels"),
    WarningKind.RELAY: ("{} RELAYS", "it repeats another sensor"),
    WarningKind.UNIT_SLIP: ("RESTART {}", "restart it"),
    WarningKind.SAME_SENSOR: ("{} TWICE", "it is there twice"),
    WarningKind.CLOCK_JUMP: ("CLOCK JUMPED", "the clock has jumped"),
    WarningKind.LOW_BATTERY: ("CHARGE {}", "battery low"),
    WarningKind.WEAK_SIGNAL: ("{} NEARER", "bring it nearer"),
    WarningKind.BROKER_AWAY: ("BROKER AWAY", "its broker is away"),
    WarningKind.DISK_LOW: ("FREE DISK", "the disk is nearly full"),
    WarningKind.CAPTURE_LATE: ("COMPUTER BUSY", "the computer is busy"),
}
"""Large, with the sensor's name for the braces; and spoken behind its name."""

_WET: Final = ("WET {}", "wet it")
"""Of a strap without contact: dry electrodes are the usual cause."""


@dataclass(frozen=True, slots=True)
class Brief:
    """``large``: capital letters.  ``spoken``: a short sentence, such as ``strap: wet it``."""

    large: str
    spoken: str


def brief(warning: SensorWarning, plan: Plan) -> Brief:
    """The words for a warning of a session of this plan."""
    is_reference = warning.sensor == plan.reference
    is_strap = is_reference and plan.sensor(warning.sensor).placement in ("chest", "")
    if warning.sensor == SESSION:
        name = "session"
    else:
        name = "strap" if is_strap else plan.sensor(warning.sensor).label
    large, spoken = _DO[warning.kind]
    if is_strap and warning.kind is WarningKind.NO_CONTACT:
        large, spoken = _WET
    return Brief(large.format(name.upper()), f"{name}: {spoken}")
