"""Names for capture files that are free, also where several captures begin in one minute."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Iterator
from pathlib import Path
from typing import Final

_MOST_NAMES: Final = 1000
_LOGS: Final = ("-wal", "-journal")
"""What SQLite keeps beside a file; left behind without it, they are another capture's."""


def free_names(path: Path) -> Iterator[Path]:
    """The path itself, then with ``-2``, ``-3`` …; without those that are taken when asked for."""
    for count in range(1, _MOST_NAMES + 1):
        name = path if count == 1 else path.with_stem(f"{path.stem}-{count}")
        if not any(name.with_name(name.name + log).exists() for log in ("", *_LOGS)):
            yield name


def software() -> str:
    """Name and version of what writes the file."""
    try:
        return f"sidebeat {importlib.metadata.version('sidebeat')}"
    except importlib.metadata.PackageNotFoundError:
        return "sidebeat (not installed)"
