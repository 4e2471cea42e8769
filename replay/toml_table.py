"""A table of a TOML file, checked key by key against the types that it may hold."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from replay.errors import PlanError

_LARGEST: Final = 10**18
_IN_WORDS: Final = {
    str: "a text in quotation marks", float: "a number", int: "a whole number",
    bool: "true or false", dict: "a table",
}  # fmt: skip


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
