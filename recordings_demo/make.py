"""Make the bundled recordings anew, by ``python recordings_demo/make.py [FOLDER]``.

Three sessions of an invented bench.  Everything is drawn with fixed seeds, so that the same
events come out on every machine; the files themselves may differ in a few bytes between
versions of SQLite.
"""

from __future__ import annotations

import sys
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parent.parent
if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))

from live.simulated import Trouble, TroubleKind, simulate  # noqa: E402
from live.simulated.script import script_for  # noqa: E402
from replay.capture import COMMIT_EVERY_EVENTS, CaptureWriter, capture_name  # noqa: E402
from replay.errors import SidebeatError  # noqa: E402
from replay.event import NS_PER_S, Event  # noqa: E402
from replay.plan import Plan, PlannedSensor  # noqa: E402

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

    ``kinds``: kind of each sensor by label, the reference first.  ``troubles``: by label.
    ``notes``: the tester's markers, with their second.
    """

    wearer: str
    activity: str
    started: datetime
    seed: int
    kinds: Mapping[str, str]
    troubles: Mapping[str, tuple[Trouble, ...]]
    notes: tuple[tuple[float, str], ...] = ()
    details: Mapping[str, str] = field(default_factory=dict)

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
                    placement=WORN[label],
                    source="simulated",
                    kind=kind,
                    firmware=FIRMWARE.get(label, ""),
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

    def events(self) -> Iterator[Event]:
        """All events of the session, in order."""
        plan = self.plan
        return simulate(
            plan,
            troubles={n: self.troubles.get(s.label, ()) for n, s in enumerate(plan.sensors, 1)},
            started_utc_ns=self.started_utc_ns,
            notes=self.notes,
        )

    def write(self, folder: Path) -> Path:
        """Write the capture into ``folder``.  Raises :class:`SidebeatError` if it is there."""
        path = folder / self.name
        writer = CaptureWriter(
            path,
            self.plan,
            started_utc_ns=self.started_utc_ns,
            software=SOFTWARE,
            session_uuid=str(uuid.uuid5(uuid.NAMESPACE_URL, f"sidebeat:demo:{self.name}")),
        )
        for count, event in enumerate(self.events(), 1):
            writer.append(event)
            if count % COMMIT_EVERY_EVENTS == 0:
                writer.commit()
        end_ns = round(self.duration_s * 1e9)
        writer.close(t_ns=end_ns, reason="end of the script", utc_ns=self.started_utc_ns + end_ns)
        return path


def _role(label: str) -> str:
    return {"Yarrow": "reference", "Strokes": "companion", "Steps": "companion"}.get(label, "test")


ROWING: Final = Recipe(
    wearer="W1",
    activity="rowing ergometer",
    started=datetime(2026, 3, 4, 7, 15, tzinfo=LOCAL),
    seed=41,
    kinds={
        "Yarrow": "strap", "Sorrel": "wrist-slow", "Tansy": "wrist", "Bracken": "arm",
        "Strokes": "strokes",
    },
    troubles={
        # Dry in the second interval: beats go missing, then the skin is lost; wetted in the
        # easy minutes after it.
        "Yarrow": (
            Trouble(TroubleKind.DRYING, 420, 510),
            Trouble(TroubleKind.NO_CONTACT, 510, 560),
        ),
        "Tansy": (Trouble(TroubleKind.ON_CADENCE, 835, 918, 2.0),),
    },
    notes=((556.0, "strap wetted"), (1230.0, "last interval done")),
    details={"room temperature": "18 °C", "dominant hand": "right"},
)  # fmt: skip

KETTLEBELL: Final = Recipe(
    wearer="W2",
    activity="kettlebell sets",
    started=datetime(2026, 3, 11, 18, 40, tzinfo=LOCAL),
    seed=52,
    kinds={"Yarrow": "strap", "Sorrel": "wrist-slow", "Tansy": "wrist", "Bracken": "arm"},
    troubles={
        "Sorrel": tuple(
            Trouble(TroubleKind.MISSED_EFFORT, start, start + 60) for start in (240, 600, 840, 960)
        ),
        "Tansy": (
            Trouble(TroubleKind.MISSED_EFFORT, 360, 420),
            Trouble(TroubleKind.NO_CONTACT, 655, 690),
            Trouble(TroubleKind.MISSED_EFFORT, 840, 900),
        ),
    },
    notes=((690.0, "band of Tansy tightened"),),
    details={"room temperature": "20 °C"},
)

STAIRS: Final = Recipe(
    wearer="W3",
    activity="stair climb with a pack",
    started=datetime(2026, 3, 18, 6, 55, tzinfo=LOCAL),
    seed=63,
    kinds={
        "Yarrow": "strap", "Sorrel": "wrist-slow", "Tansy": "wrist", "Bracken": "arm",
        "Steps": "steps",
    },
    troubles={
        "Bracken": (Trouble(TroubleKind.LATE_START, 0, 262),),
        "Tansy": (Trouble(TroubleKind.DROPPED, 700, 728),),
    },
    notes=((90.0, "first climb"), (262.0, "Bracken switched on")),
    details={"pack": "15 kg"},
)  # fmt: skip

RECIPES: Final = (ROWING, KETTLEBELL, STAIRS)


def main(arguments: list[str]) -> int:
    """Make all recordings in the folder given, or beside this file; those there are replaced."""
    folder = Path(arguments[0]) if arguments else Path(__file__).resolve().parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for recipe in RECIPES:
            (folder / recipe.name).unlink(missing_ok=True)
            path = recipe.write(folder)
            print(f"{path.name}: {path.stat().st_size // 1024} KiB")
    except (SidebeatError, OSError) as error:
        print(f"make.py: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
