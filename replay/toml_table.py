"""A TOML file, and a table of it checked key by key against the types that it may hold."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any, Final

from replay.errors import PlanError

_LARGEST: Final = 10**18
_OF_NO_USE: Final = "is nested too deeply, or holds a number or a date of no use"
_IN_WORDS: Final = {
    str: "a text in quotation marks", float: "a number", int: "a whole number",
    bool: "true or false", dict: "a table",
}  # fmt: skip


class TomlError(ValueError):
    """Text that is no TOML of any use; the message says why, to go behind the name of a file."""


def parse_toml(text: str) -> dict[str, Any]:
    """All that a TOML text holds.  Raises :class:`TomlError`, whatever the text is."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TomlError(f"is not valid TOML: {error}") from None
    except (RecursionError, ValueError):
        raise TomlError(_OF_NO_USE) from None
    waiting: list[tuple[str, object]] = [("", raw)]
    while waiting:
        name, one = waiting.pop()
        if isinstance(one, dict):
            waiting += one.items()
        elif isinstance(one, list):
            waiting += [(name, each) for each in one]
        elif isinstance(one, int) and abs(one) >> 63:  # TOML has no larger ones
            raise TomlError(f"holds a number that is too large: {name}")
    return raw


def checked_table(
    where: str, raw: object, keys: Mapping[str, type], *, required: tuple[str, ...]
) -> dict[str, Any]:
    """The table ``raw`` as it is, if it has no keys but these, each of its type.

    ``where``: what it is called in a complaint.  Raises :class:`PlanError` naming key and rule.
    """
    if not isinstance(raw, dict):
        raise PlanError(where, "must be a table")
    for key, value in raw.items():
        kind = keys.get(key)
        if kind is None:
            raise PlanError(f"{where}.{key}", "is not known; known are " + ", ".join(keys))
        fits = (
            isinstance(value, (int, float)) and not isinstance(value, bool)
            if kind is float
            else isinstance(value, kind) and not (kind is int and isinstance(value, bool))
        )
        if not fits:
            raise PlanError(f"{where}.{key}", f"must be {_IN_WORDS[kind]}", value)
        if isinstance(value, int) and abs(value) > _LARGEST:
            raise PlanError(f"{where}.{key}", "is too large")
    for key in required:
        if key not in raw:
            raise PlanError(f"{where}.{key}", "is missing")
    return dict(raw)
