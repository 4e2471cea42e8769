"""Which commands of plans somebody at this computer has agreed to have run.

A plan may come from somebody else.  What it would have run is shown, and runs only after the
person at this computer has agreed to just this command; that is remembered by its digest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

from live.setup.known_sensors import known_sensors_path
from replay.errors import SidebeatError
from replay.files_only import read_text


def agreed_path() -> Path:
    """The file of this user with the digests; it need not exist."""
    return known_sensors_path().with_name("commands.txt")


def digest_of(command: Sequence[str]) -> str:
    """What is remembered of a command."""
    return hashlib.sha256(json.dumps(list(command)).encode()).hexdigest()


def is_agreed(command: Sequence[str]) -> bool:
    """Whether somebody has agreed to this command on this computer."""
    try:
        return digest_of(command) in read_text(agreed_path()).split()
    except (OSError, UnicodeDecodeError):
        return False


def agree(command: Sequence[str]) -> None:
    """Remember it.  Raises :class:`SidebeatError` if it cannot be."""
    path = agreed_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write(f"{digest_of(command)}\n")
    except OSError as error:
        raise SidebeatError(f"{path}: cannot be written: {error.strerror}") from None
