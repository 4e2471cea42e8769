"""Make the bundled recordings anew, by ``python recordings_demo/make.py [FOLDER]``.

Three sessions of an invented bench.  Everything is drawn with fixed seeds, so that the same
events come out on every machine; the files themselves may differ in a few bytes between
versions of SQLite.  ``make.py --study FOLDER`` makes the twelve of the invented study instead.
"""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parent.parent
if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))

from live.simulated import Trouble, TroubleKind  # noqa: E402
from live.simulated.recipe import LOCAL, Recipe  # noqa: E402
from live.simulated.study_recipe import STUDY  # noqa: E402
from replay.errors import SidebeatError  # noqa: E402

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
    recipes = STUDY if arguments[:1] == ["--study"] else RECIPES
    arguments = arguments[recipes is STUDY :]
    if recipes is STUDY and not arguments:
        print("make.py: --study needs a folder", file=sys.stderr)
        return 1
    folder = Path(arguments[0]) if arguments else Path(__file__).resolve().parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for recipe in recipes:
            (folder / recipe.name).unlink(missing_ok=True)
            path = recipe.write(folder)
            print(f"{path.name}: {path.stat().st_size // 1024} KiB")
    except (SidebeatError, OSError) as error:
        print(f"make.py: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
