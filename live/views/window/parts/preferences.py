"""What the window remembers between runs: theme and size of the text.

A small TOML file beside what the set-up page remembers.  It is a convenience: a file that cannot
be read or written is logged, and nothing else comes of it.
"""

from __future__ import annotations

import logging
import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import tomli_w

from live.setup.known_sensors import known_sensors_path

_log = logging.getLogger(__name__)

SIZES: Final = (0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0)
"""Steps of the text's size, in times of the system's."""

USUAL_SIZE: Final = SIZES.index(1.0)


@dataclass(frozen=True, slots=True)
class Preferences:
    """``theme``: name of one, empty for the system's.  ``size``: index into :data:`SIZES`."""

    theme: str = ""
    size: int = USUAL_SIZE


def preferences_path() -> Path:
    """The file of this user; its folder need not exist."""
    return known_sensors_path().with_name("window.toml")


def load_preferences(path: Path) -> Preferences:
    """Read them; never raises: what is missing or makes no sense is as usual."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Preferences()
    except (OSError, ValueError) as error:
        _log.warning("%s cannot be read (%s); theme and size of text are as usual", path, error)
        return Preferences()
    theme, text = raw.get("theme"), raw.get("text")
    return Preferences(
        theme if isinstance(theme, str) else "",
        SIZES.index(text) if text in SIZES else USUAL_SIZE,
    )


def save_preferences(path: Path, chosen: Preferences) -> None:
    """Write them, in one step; never raises."""
    table = {"theme": chosen.theme, "text": SIZES[chosen.size]}
    fresh = path.with_suffix(f".{os.getpid()}.new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(tomli_w.dumps(table), encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        _log.warning("theme and size of text could not be remembered: %s", error)


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
