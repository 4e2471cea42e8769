"""The user's own defaults: what would else be typed each time, in one file for all commands.

    [live]
    out = "captures"
    view = "terminal"

    [analyse]
    json = true

Keys are a command's options without their dashes.  What is typed counts more.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any, Final

from live.setup.known_sensors import known_sensors_path
from replay.errors import SidebeatError
from replay.files_only import read_text, why_unread
from replay.toml_table import TomlError, parse_toml

_NEVER: Final = frozenset({"help", "attach", "watch", "child", "rehearse", "on-warning"})
"""Options that say what a command is to do this time, or that the program gives itself."""


def defaults_path() -> Path:
    """The file of this user; it need not exist."""
    return known_sensors_path().with_name("defaults.toml")


def apply_defaults(parser: argparse.ArgumentParser, command: str) -> None:
    """Make the file's values the defaults of a command's options.

    Raises :class:`SidebeatError` in one sentence for a file that cannot be read, an option that the
    command does not have, or a value that the option does not take.
    """
    path = defaults_path()
    try:
        tables = parse_toml(read_text(path))
    except FileNotFoundError:
        return
    except TomlError as error:
        raise SidebeatError(f"{path}: {error}") from None
    except (OSError, UnicodeError) as error:
        raise SidebeatError(f"{path}: cannot be read: {why_unread(error)}") from None
    table = tables.get(command, {})
    if not isinstance(table, dict):
        raise SidebeatError(f"{path}: [{command}] must be a table of options")
    options = {
        name.removeprefix("--"): action
        for action in parser._actions  # noqa: SLF001 - argparse shows its options in no other way
        for name in action.option_strings
        if name.startswith("--") and action.help != argparse.SUPPRESS
    }
    for name, value in table.items():
        action = options.get(name)
        if action is None or name in _NEVER:
            raise SidebeatError(f"{path}: 'sidebeat {command}' takes no default for {name!r}")
        parser.set_defaults(**{action.dest: _taken(path, command, name, action, value)})


def _taken(path: Path, command: str, name: str, action: argparse.Action, value: object) -> Any:  # noqa: ANN401 - whatever the option makes of it
    where = f"{path}: [{command}] {name}"
    if action.nargs == 0:
        if not isinstance(value, bool):
            raise SidebeatError(f"{where} must be true or false, not {value!r}")
        return value
    if isinstance(value, (list, dict, bool)):
        raise SidebeatError(f"{where} must be a text or a number, not {value!r}")
    if action.choices is not None and value not in action.choices:
        raise SidebeatError(f"{where} must be one of {', '.join(map(str, action.choices))}")
    if action.type is None:
        return str(value)
    try:
        return action.type(str(value))  # type: ignore[operator]
    except (argparse.ArgumentTypeError, TypeError, ValueError) as error:
        raise SidebeatError(f"{where} is not understood: {error}") from None
