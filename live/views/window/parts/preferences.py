"""What the window remembers between runs: its looks, how it is heard, where captures lie.

A small TOML file beside what the set-up page remembers.  It is a convenience: a file that cannot
be read or written is logged, and nothing else comes of it.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import tomli_w

from live.setup.known_sensors import known_sensors_path
from replay.files_only import read_text, user_home
from replay.toml_table import parse_toml

_log = logging.getLogger(__name__)

SIZES: Final = (0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0)
"""Steps of the text's size, in times of the system's."""

USUAL_SIZE: Final = SIZES.index(1.0)
SOUNDS: Final = ("", "on", "off")
"""As the plan says, always, never."""
MOST_RECENT: Final = 24
MOST_TOLERANCE: Final = 100.0
"""In bpm or %, as the page before a session allows it."""


@dataclass(frozen=True, slots=True)
class Preferences:
    """``theme``: name of one, empty for the system's.  ``size``: index into :data:`SIZES`.
    ``sounds``: of :data:`SOUNDS`.  ``voice``: whether warnings are spoken.  ``folder``: for
    captures, empty for the usual one.  ``recent``: captures opened or made lately, newest first.
    ``tolerance``: bpm and % that a new session begins with, ``None`` for those of the last one.
    """

    theme: str = ""
    size: int = USUAL_SIZE
    sounds: str = ""
    voice: bool = False
    folder: str = ""
    recent: tuple[str, ...] = ()
    tolerance: tuple[float, float] | None = None

    @property
    def sounds_option(self) -> bool | None:
        """The same, as views are told: ``None`` leaves it to the plan."""
        return None if not self.sounds else self.sounds == "on"

    @property
    def captures(self) -> Path:
        """The folder for captures; it need not exist."""
        return Path(self.folder) if self.folder else user_home() / "Sidebeat"

    def with_recent(self, path: Path) -> tuple[str, ...]:
        """The recent captures with this one on top."""
        name = str(path.absolute())
        return (name, *(one for one in self.recent if one != name))[:MOST_RECENT]


def preferences_path() -> Path:
    """The file of this user; its folder need not exist."""
    return known_sensors_path().with_name("window.toml")


def load_preferences(path: Path) -> Preferences:
    """Read them; never raises: what is missing or makes no sense is as usual."""
    try:
        raw = parse_toml(read_text(path))
    except FileNotFoundError:
        return Preferences()
    except (OSError, ValueError) as error:
        _log.warning("%s cannot be read (%s); settings are as usual", path, error)
        return Preferences()
    recent = raw.get("recent")
    text = raw.get("text")
    return Preferences(
        theme=_text(raw, "theme"),
        size=SIZES.index(text) if text in SIZES else USUAL_SIZE,
        sounds=_text(raw, "sounds") if raw.get("sounds") in SOUNDS else "",
        voice=raw.get("voice") is True,
        folder=_text(raw, "folder"),
        recent=tuple(one for one in recent if isinstance(one, str))[:MOST_RECENT]
        if isinstance(recent, list)
        else (),
        tolerance=_tolerance(raw.get("tolerance")),
    )


def _tolerance(raw: object) -> tuple[float, float] | None:
    numbers = raw if isinstance(raw, list) and len(raw) == 2 else []
    found = [
        float(one)
        for one in numbers
        if isinstance(one, int | float) and not isinstance(one, bool) and 0 <= one <= MOST_TOLERANCE
    ]
    return (found[0], found[1]) if len(found) == 2 and any(found) else None


def _text(raw: Mapping[str, object], key: str) -> str:
    value = raw.get(key)
    return value if isinstance(value, str) else ""


def save_preferences(path: Path, chosen: Preferences) -> None:
    """Write them, in one step; never raises."""
    table: dict[str, object] = {"theme": chosen.theme, "text": SIZES[chosen.size]}
    for key in ("sounds", "voice", "folder"):
        if value := getattr(chosen, key):
            table[key] = value
    if chosen.tolerance is not None:
        table["tolerance"] = list(chosen.tolerance)
    if chosen.recent:
        table["recent"] = list(chosen.recent)
    fresh = path.with_suffix(f".{os.getpid()}.new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(tomli_w.dumps(table), encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        _log.warning("settings could not be remembered: %s", error)


class PreferenceStore:
    """The user's choices of one run: read at its start, written whenever one changes."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.chosen = load_preferences(path)

    def keep(self, chosen: Preferences) -> None:
        """Remember these from now on."""
        if chosen != self.chosen:
            self.chosen = chosen
            save_preferences(self._path, chosen)
