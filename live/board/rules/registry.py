"""All rules of a session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from live.board.rules.base import Rule
from live.board.rules.battery import LowBattery
from live.board.rules.contact import NoContact
from live.board.rules.frozen import Frozen
from live.board.rules.loose import LooseReference
from live.board.rules.not_started import NotStarted
from live.board.rules.reference_lost import ReferenceLost
from live.board.rules.silent import Silent

if TYPE_CHECKING:
    from live.board.bench import Bench


def rules_for(bench: Bench) -> list[Rule]:
    """The rules that the sensors of this bench call for."""
    rules: list[Rule] = [
        LooseReference(bench, bench.reference),
        ReferenceLost(bench, bench.reference),
    ]
    for sensor in bench.sensors:
        rules += [NotStarted(bench, sensor), Silent(bench, sensor), LowBattery(bench, sensor)]
        if not sensor.is_companion:
            rules += [NoContact(bench, sensor), Frozen(bench, sensor)]
    return rules
