"""The one table of the warnings: which rules there are, and which warning explains which.

A new warning is one row here, beside its rule and its thresholds.  The order of the rows is the
order in which the rules are asked each second: what explains stands before what it explains, so
that it has its word in the same second.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Final

from analysis.board.rules.apart import Apart
from analysis.board.rules.base import Rule, SensorRule
from analysis.board.rules.broker import BrokerAway
from analysis.board.rules.contact import NoContact
from analysis.board.rules.frozen import Frozen
from analysis.board.rules.late import Late
from analysis.board.rules.levels import LowBattery, WeakSignal
from analysis.board.rules.not_started import NotStarted
from analysis.board.rules.outvoted import OutvotedReference
from analysis.board.rules.reference_lost import ReferenceLost
from analysis.board.rules.same_sensor import SameSensor
from analysis.board.rules.session import CaptureLate, ClockJump, DiskLow
from analysis.board.rules.shared import Shared
from analysis.board.rules.silent import Silent
from analysis.board.rules.swapped import SwappedLabels
from analysis.board.rules.thinning import Thinning
from analysis.board.snapshot import SensorWarning
from analysis.board.snapshot import WarningKind as K
from replay.event import SESSION

if TYPE_CHECKING:
    from analysis.board.session_state import SessionState

_NONE: Final[frozenset[K]] = frozenset()
_COMPARISONS: Final = frozenset({K.APART, K.LATE})
"""Warnings that compare with the reference: they say nothing while it is at fault."""
_VALUES: Final = frozenset({K.FROZEN, K.ON_CADENCE})
"""Warnings about a value that rest on how the reference moves."""
_ONCE_SILENT: Final = frozenset(
    {
        K.THINNING, K.NO_CONTACT, K.FROZEN, K.ON_CADENCE, K.APART, K.LATE, K.UNIT_SLIP,
        K.REFERENCE_LOST, K.LOOSE_REFERENCE, K.OUTVOTED_REFERENCE, K.WEAK_SIGNAL,
    }
)  # fmt: skip
"""Nothing more is to be said of a sensor from which nothing comes."""
_MOVEMENT: Final = "movement of the others"
"""The measure of a frozen value that says whether other sensors were the evidence."""


def _others_moved_too_little(warning: SensorWarning) -> bool:
    """Whether a frozen value was found by its own RR: the others alone would not have shown it."""
    moved = [one for one in warning.measures if one.name == _MOVEMENT]
    return bool(moved) and all(one.value < (one.threshold or 0.0) for one in moved)


@dataclass(frozen=True, slots=True)
class WarningRow:
    """One kind of warning.

    ``rules``: its rules for a session, usually one for each sensor that can have the fault.
    ``explains``: kinds that, on the same sensor, are not raised while this one stands, and end
    when it is raised. ``explains_tests``: the same for all test sensors while this one stands on
    the reference. ``explains_over_mqtt``: the same for all sensors that come over MQTT while this
    one stands on the session. ``withholds_tests``: kinds that are not raised on test sensors
    while this one stands on the reference, but stay if they stood before: such a sensor has a
    fault of its own. ``is_notice``: good to know, nothing is being lost. ``excludes``: why the
    analysis may leave a stretch out where this stands on the reference; for rules that look at
    its own signal alone, else the test sensors would choose what they are compared with.
    ``by_own_signal``: whether they did so this time, for rules that look at the others when it
    says too little.
    """

    kind: K
    rules: Callable[[Shared], Iterable[Rule]]
    explains: frozenset[K] = _NONE
    explains_tests: frozenset[K] = _NONE
    explains_over_mqtt: frozenset[K] = _NONE
    withholds_tests: frozenset[K] = _NONE
    is_notice: bool = False
    excludes: str = ""
    by_own_signal: Callable[[SensorWarning], bool] = lambda _: True


REGISTRY: Final[tuple[WarningRow, ...]] = (
    WarningRow(K.DISK_LOW, lambda of: [DiskLow(of.session)]),
    WarningRow(K.CLOCK_JUMP, lambda of: [ClockJump(of.session)]),
    WarningRow(K.CAPTURE_LATE, lambda of: [CaptureLate(of.session)]),
    WarningRow(
        K.BROKER_AWAY,
        lambda of: [BrokerAway(of.session, of.over_mqtt)],
        explains_over_mqtt=_ONCE_SILENT | {K.NOT_STARTED, K.SILENT},
    ),
    WarningRow(
        K.LOW_BATTERY,
        lambda of: [LowBattery(of.session, sensor) for sensor in of.linked],
        is_notice=True,
    ),
    WarningRow(
        K.NOT_STARTED,
        lambda of: [NotStarted(of.session, sensor) for sensor in of.linked],
        explains=frozenset({K.REFERENCE_LOST}),
        explains_tests=_COMPARISONS,
        excludes="the reference had not been heard yet",
    ),
    WarningRow(
        K.SILENT,
        lambda of: [Silent(of.session, sensor) for sensor in of.linked],
        explains=_ONCE_SILENT,
        explains_tests=_COMPARISONS,
        excludes="the reference was silent",
    ),
    WarningRow(
        K.NO_CONTACT,
        lambda of: [NoContact(of.session, sensor) for sensor in of.compared],
        explains=frozenset(
            {
                K.THINNING, K.FROZEN, K.ON_CADENCE, K.APART, K.LATE, K.UNIT_SLIP,
                K.REFERENCE_LOST, K.LOOSE_REFERENCE, K.OUTVOTED_REFERENCE,
            }
        ),
        explains_tests=_COMPARISONS,
        excludes="the reference had no contact",
    ),
    WarningRow(
        K.SAME_SENSOR,
        lambda of: [
            SameSensor(
                of.session, sensor, of.streams[at], of.streams[:at], sightings=of.sightings
            )
            for at, sensor in enumerate(of.compared)
        ],
        explains=frozenset({K.RELAY, K.SWAPPED_LABELS, K.APART, K.LATE}),
    ),
    WarningRow(
        K.RELAY,
        lambda of: of.relays,
        explains=_COMPARISONS | {K.SWAPPED_LABELS},
    ),
    WarningRow(
        K.FROZEN,
        lambda of: [
            *(
                Frozen(of.session, one.watched, delay=one.delay, on_cadence=on_cadence)
                for one, on_cadence in zip(of.deviations, of.on_cadence, strict=True)
            ),
            Frozen(of.session, of.session.reference),
        ],
        explains=frozenset(
            {
                K.LOOSE_REFERENCE, K.ON_CADENCE, K.APART, K.LATE, K.OUTVOTED_REFERENCE,
                K.UNIT_SLIP,
            }
        ),
        explains_tests=_COMPARISONS,
        withholds_tests=_VALUES,
        excludes="the reference was frozen",
        by_own_signal=_others_moved_too_little,
    ),
    WarningRow(
        K.LOOSE_REFERENCE,
        lambda of: [of.loose],
        explains=frozenset({K.UNIT_SLIP, K.OUTVOTED_REFERENCE}),
        explains_tests=_COMPARISONS,
        withholds_tests=_VALUES,
        excludes="the reference was loose or dry",
    ),
    WarningRow(
        K.OUTVOTED_REFERENCE,
        lambda of: [
            OutvotedReference(
                of.session, of.session.reference, of.deviations,
                relays=of.relays, on_cadence=of.on_cadence, loose=of.loose,
            )
        ],
        explains_tests=_COMPARISONS,
        withholds_tests=_VALUES,
    ),
    WarningRow(K.ON_CADENCE, lambda of: of.on_cadence, explains=_COMPARISONS),
    WarningRow(
        K.REFERENCE_LOST,
        lambda of: [ReferenceLost(of.session, of.session.reference)],
        explains_tests=_COMPARISONS,
        excludes="the reference had no valid value",
    ),
    WarningRow(
        K.SWAPPED_LABELS,
        lambda of: [SwappedLabels(of.session, test) for test in of.timed],
        explains=_COMPARISONS,
    ),
    WarningRow(
        K.LATE,
        lambda of: [
            Late(of.session, one.watched, one.delay)
            for one in of.deviations
            if one.watched in of.timed
        ],
        explains=frozenset({K.APART}),
        is_notice=True,
    ),
    WarningRow(
        K.APART,
        lambda of: [Apart(of.session, one.watched, one) for one in of.deviations],
    ),
    WarningRow(
        K.THINNING,
        lambda of: [Thinning(of.session, one) for one in of.compared if one in of.linked],
    ),
    WarningRow(K.UNIT_SLIP, lambda of: of.unit_slips),
    WarningRow(
        K.WEAK_SIGNAL,
        lambda of: [WeakSignal(of.session, sensor) for sensor in of.linked],
        is_notice=True,
    ),
)  # fmt: skip

ROW_OF: Final[Mapping[K, WarningRow]] = {row.kind: row for row in REGISTRY}
HELD_BY: Final[Mapping[K, frozenset[K]]] = {
    row.kind: row.explains | row.explains_tests | row.explains_over_mqtt | row.withholds_tests
    for row in REGISTRY
}
"""What a warning of a kind can hold, on whichever sensor."""
_PLACE: Final = {row.kind: place for place, row in enumerate(REGISTRY)}


class Suppression(Enum):
    """What a standing warning does to another rule."""

    NONE = "none"
    EXPLAINED = "explained"
    """It is not raised, and if it stands it ends: the standing warning explains it."""
    WITHHELD = "withheld"
    """It is not raised, but if it stands it stays: it has a cause of its own."""


def in_order(rules: Sequence[Rule]) -> list[Rule]:
    """The rules in the order of the registry; those of the same kind as they came."""
    return sorted(rules, key=lambda rule: _PLACE.get(rule.kind, len(_PLACE)))


def suppression(loser: Rule, winner: Rule, *, reference: int, tests: frozenset[int]) -> Suppression:
    """How ``loser`` is held while a warning of ``winner`` stands."""
    row = ROW_OF.get(winner.kind)
    if row is None:
        return Suppression.NONE
    if loser.sensor == winner.sensor:
        return Suppression.EXPLAINED if loser.kind in row.explains else Suppression.NONE
    if winner.sensor == SESSION:
        through = isinstance(loser, SensorRule) and loser.watched.planned.over_mqtt
        explained = through and loser.kind in row.explains_over_mqtt
        return Suppression.EXPLAINED if explained else Suppression.NONE
    if winner.sensor == reference and loser.sensor in tests:
        if loser.kind in row.explains_tests:
            return Suppression.EXPLAINED
        if loser.kind in row.withholds_tests:
            return Suppression.WITHHELD
    return Suppression.NONE


def rules_for(session: SessionState) -> list[Rule]:
    """The rules that the sensors of this session call for, in the order of the registry."""
    shared = Shared(session)
    return [rule for row in REGISTRY for rule in row.rules(shared)]
