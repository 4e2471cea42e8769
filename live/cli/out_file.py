"""Files that a command makes from a session: written whole or not at all, replaced with a word.

A page, a table or a figure can be made again and is replaced, and the command says so.  A recording
cannot, and is never written over.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import IO, Final

from live.cli.output import say
from replay.errors import SidebeatError

_HALF: Final = "backslashreplace"
"""Half a character, in the name of a file that is not UTF-8, is spelled out."""
_RECORDING: Final = b"SQLite format 3\0"


def write_out(path: Path, text: str) -> bool:
    """Write a text to a file, whose folder is made; returns whether it took another file's place.

    Raises :class:`SidebeatError` if it cannot be written, or if a recording is there.  What was
    there stays as it was until all of the new file is written.
    """
    return write_stream(path, lambda stream: stream.write(text))


def write_stream(path: Path, write: Callable[[IO[str]], object]) -> bool:
    """As :func:`write_out`, of what ``write`` puts into a text stream."""
    try:
        replaces = is_replaceable(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_file() or not path.exists():
            _write_beside(path, write)
        else:  # a terminal, a pipe of the shell: /dev/stdout
            with path.open("w", encoding="utf-8", errors=_HALF, newline="") as stream:
                write(stream)
    except OSError as error:
        raise SidebeatError(f"{path}: cannot be written: {error.strerror}") from None
    return replaces


def is_replaceable(path: Path) -> bool:
    """Whether a file is there that may be replaced; a recording is refused in a sentence."""
    if not path.is_file():
        return False
    with path.open("rb") as held:
        if held.read(len(_RECORDING)) == _RECORDING:
            raise SidebeatError(f"{path}: is a recording, or another database; not overwritten")
    return True


def say_replaced(what: str) -> None:
    """Tell that something that was there is there no more."""
    say(f"sidebeat: {what} was there already, and is replaced", file=sys.stderr)


def _write_beside(path: Path, write: Callable[[IO[str]], object]) -> None:
    target = path.resolve()
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", errors=_HALF, newline="") as stream:
            write(stream)
        Path(name).replace(target)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
