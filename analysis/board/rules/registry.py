"""All rules of a session, wired to what they share."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from analysis.board.rules.apart import Apart
from analysis.board.rules.base import Rule
from analysis.board.rules.battery import LowBattery
from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.contact import NoContact
from analysis.board.rules.delay_estimate import Following
from analysis.board.rules.deviation import Departure
from analysis.board.rules.frozen import Frozen
from analysis.board.rules.late import Late
from analysis.board.rules.loose import LooseReference
from analysis.board.rules.not_started import NotStarted
from analysis.board.rules.outvoted import OutvotedReference
from analysis.board.rules.reference_lost import ReferenceLost
from analysis.board.rules.relay import Relay
from analysis.board.rules.same_sensor import SameSensor
from analysis.board.rules.session import CaptureLate, ClockJump, DiskLow
from analysis.board.rules.signal import WeakSignal
from analysis.board.rules.silent import Silent
from analysis.board.rules.streams import Stream
from analysis.board.rules.thinning import Thinning
from analysis.board.rules.unit_slip import UnitSlip

if TYPE_CHECKING:
    from analysis.board.session_state import Bench


def rules_for(bench: Bench) -> list[Rule]:
    """The rules that the sensors of this bench call for.

    A sensor that was imported from a file has no link that could be mended, and no delay.
    """
    rules: list[Rule] = [ClockJump(bench), CaptureLate(bench), DiskLow(bench)]
    linked = [sensor for sensor in bench.sensors if sensor.planned.on_capture_clock]
    for sensor in linked:
        rules += [
            NotStarted(bench, sensor),
            Silent(bench, sensor),
            LowBattery(bench, sensor),
            WeakSignal(bench, sensor),
        ]
    compared = [sensor for sensor in bench.sensors if not sensor.is_companion]
    streams = [Stream(sensor) for sensor in compared]
    relays: list[Relay] = []
    slip = UnitSlip(bench, bench.reference)
    for at, sensor in enumerate(compared):
        own, others = streams[at], streams[:at] + streams[at + 1 :]
        relays.append(Relay(bench, sensor, own, others))
        rules += [
            NoContact(bench, sensor),
            *([Thinning(bench, sensor)] if sensor in linked else []),
            slip if sensor is bench.reference else UnitSlip(bench, sensor),
            SameSensor(bench, sensor, own, streams[:at]),
        ]
    departures = [Departure(bench, test, Following(bench, test)) for test in bench.tests]
    on_cadence = [
        OnCadence(bench, test, departure)
        for test, departure in zip(bench.tests, departures, strict=True)
    ]
    for test, departure in zip(bench.tests, departures, strict=True):
        one_clock = test in linked and bench.reference in linked
        rules += [
            Frozen(bench, test, following=departure.following),
            *([Late(bench, test, departure.following)] if one_clock else []),
            Apart(bench, test, departure),
        ]
    # Not a lambda: a copy of the board must listen to the copy of the rule.
    loose = LooseReference(bench, bench.reference, unit=partial(getattr, slip, "factor"))
    rules += [
        *relays,
        *on_cadence,
        loose,
        Frozen(bench, bench.reference),
        ReferenceLost(bench, bench.reference),
        OutvotedReference(
            bench, bench.reference, departures, relays=relays, on_cadence=on_cadence, loose=loose
        ),
    ]
    return rules
