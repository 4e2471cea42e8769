"""Recipes of invented recordings: who does what when, with which sensors, and what goes wrong.

Everything is drawn with fixed seeds, so that the same events come out on every machine.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Final

from live.simulated.script import script_for
from live.simulated.session import simulate
from live.simulated.troubles import Trouble
from replay.capture import COMMIT_EVERY_EVENTS, CaptureWriter, capture_name
from replay.event import NS_PER_S, Event
from replay.plan import Plan, PlannedSensor

SOFTWARE: Final = "sidebeat simulation"
LOCAL: Final = timezone(timedelta(hours=1))
FIRMWARE: Final = {"Yarrow": "2.1.0", "Sorrel": "7.4", "Tansy": "1.18", "Bracken": "3.0.2"}
WORN: Final = {
    "Yarrow": "chest", "Sorrel": "left wrist", "Tansy": "right wrist",
    "Bracken": "right upper arm", "Strokes": "ergometer", "Steps": "left foot",
}  # fmt: skip


@dataclass(frozen=True)
class Recipe:
    """One recording: who does what when, with which sensors, and what goes wrong.

    ``kinds``: kind of each sensor by label, the reference first.  ``troubles``, and what differs
    from the usual ``firmware`` and where it is usually ``worn``: by label.  ``notes``: the tester's
    markers, with their second.
    """

    wearer: str
    activity: str
    started: datetime
    seed: int
    kinds: Mapping[str, str]
    troubles: Mapping[str, tuple[Trouble, ...]]
    notes: tuple[tuple[float, str], ...] = ()
    details: Mapping[str, str] = field(default_factory=dict)
    firmware: Mapping[str, str] = field(default_factory=dict)
    worn: Mapping[str, str] = field(default_factory=dict)

    @property
    def plan(self) -> Plan:
        """The plan, marked as invented."""
        return Plan(
            wearer=self.wearer,
            activity=self.activity,
            sensors=tuple(
                PlannedSensor(
                    label=label,
                    role=_role(label),
                    placement=self.worn.get(label, WORN[label]),
                    source="simulated",
                    kind=kind,
                    firmware=self.firmware.get(label, FIRMWARE.get(label, "")),
                )
                for label, kind in self.kinds.items()
            ),
            details=self.details,
            invented=True,
            seed=self.seed,
        )

    @property
    def name(self) -> str:
        """The file's name."""
        return capture_name(self.started, self.plan)

    @property
    def started_utc_ns(self) -> int:
        """UTC of the start, ns since 1970."""
        return int(self.started.timestamp()) * NS_PER_S

    @property
    def duration_s(self) -> float:
        """Length of the session in s."""
        return script_for(self.activity).duration_s

    def events(self, longest_s: float = math.inf) -> Iterator[Event]:
        """All events of the session, in order.  ``longest_s``: its first seconds alone."""
        plan = self.plan
        return simulate(
            plan,
            min(self.duration_s, longest_s),
            troubles={n: self.troubles.get(s.label, ()) for n, s in enumerate(plan.sensors, 1)},
            started_utc_ns=self.started_utc_ns,
            notes=self.notes,
        )

    def write(self, folder: Path, longest_s: float = math.inf) -> Path:
        """Write the capture into ``folder``.  ``longest_s``: its first seconds alone.

        Raises :class:`SidebeatError` if it is there.
        """
        path = folder / self.name
        writer = CaptureWriter(
            path,
            self.plan,
            started_utc_ns=self.started_utc_ns,
            software=SOFTWARE,
            session_uuid=str(uuid.uuid5(uuid.NAMESPACE_URL, f"sidebeat:demo:{self.name}")),
        )
        for count, event in enumerate(self.events(longest_s), 1):
            writer.append(event)
            if count % COMMIT_EVERY_EVENTS == 0:
                writer.commit()
        end_ns = round(min(self.duration_s, longest_s) * 1e9)
        writer.close(t_ns=end_ns, reason="end of the script", utc_ns=self.started_utc_ns + end_ns)
        return path


def _role(label: str) -> str:
    return {"Yarrow": "reference", "Strokes": "companion", "Steps": "companion"}.get(label, "test")
