"""What commands print for people, and the JSON that they print for scripts."""

from __future__ import annotations

import copy
import json
import logging
import re
import shlex
import shutil
import sys
import time
from pathlib import Path
from typing import Final, TextIO

from replay.text import is_printable, printable

_NOT_ASCII: Final = re.compile(r"[^\n -~]")


def say(words: str = "", *, file: TextIO | None = None, end: str = "\n") -> None:
    """Print lines of text; what a path or another's sentence brings along cannot steer a terminal.

    ``file``: stdout if not given.
    """
    lines = "\n".join(map(printable, words.split("\n")))
    print(lines, file=sys.stdout if file is None else file, end=end, flush=True)


def program() -> str:
    """How this program is called from here, for lines that are to be pasted."""
    found = shutil.which("sidebeat")
    own = Path(sys.executable).parent / "sidebeat"
    if found and Path(found).resolve() == own.resolve():
        return "sidebeat"
    here = Path.cwd()
    if own.exists():
        return shlex.quote(str(own.relative_to(here) if own.is_relative_to(here) else own))
    return f"{shlex.quote(sys.executable)} -m live"


def json_line(facts: object, *, indent: int | None = None) -> str:
    """JSON text without NaN or infinity, in which every sign can be printed.

    Texts keep their value: a sign that a terminal could take for a command stands as its escape.
    """
    text = json.dumps(facts, ensure_ascii=False, indent=indent, allow_nan=False)
    return _NOT_ASCII.sub(_escaped, text)


def json_text(facts: dict[str, object]) -> str:
    """One JSON object as text, ending with a newline; never NaN or infinity."""
    return json_line(facts, indent=2) + "\n"


def print_json(facts: dict[str, object]) -> None:
    """Print one JSON object, and nothing else, on standard output."""
    print(json_text(facts), end="")


class PlainFormatter(logging.Formatter):
    """Log records as :func:`say` would print them: no trace of an error, times in UTC."""

    converter = staticmethod(time.gmtime)

    def format(self, record: logging.LogRecord) -> str:
        """The record as text."""
        bare = copy.copy(record)
        bare.exc_info = bare.exc_text = bare.stack_info = None
        return "\n".join(map(printable, super().format(bare).split("\n")))


def _escaped(sign: re.Match[str]) -> str:
    return sign[0] if is_printable(sign[0]) else json.dumps(sign[0])[1:-1]
