"""Where the bundled recordings of the invented bench lie.

In an installed package they are data beside this module; in a checkout (also one installed as
editable) they lie in ``recordings_demo`` at its root.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from replay.errors import CaptureError

_HERE: Final = Path(__file__).resolve().parent
PLACES: Final = (_HERE / "demo", _HERE.parent / "recordings_demo")
"""Where the bundled recordings may lie, first to last: installed, and in a checkout."""


def demo_folder() -> Path:
    """The folder of the bundled recordings.  Raises :class:`CaptureError` if it is missing."""
    for place in PLACES:
        if place.is_dir():
            return place
    raise CaptureError("the bundled recordings are missing: install Sidebeat again")


def demo_captures() -> tuple[Path, ...]:
    """The bundled captures, oldest session first.  Raises :class:`CaptureError` if none."""
    captures = tuple(sorted(demo_folder().glob("*.sqlite")))
    if not captures:
        raise CaptureError(f"{demo_folder()}: the bundled recordings are missing")
    return captures


def practice_plan() -> Path:
    """The plan for practice with simulated sensors.  Raises :class:`CaptureError`."""
    plan = demo_folder() / "practice_plan.toml"
    if not plan.is_file():
        raise CaptureError(f"{plan}: the practice plan is missing")
    return plan
