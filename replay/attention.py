"""The part of a plan that says how the tester's attention is called to a warning."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from replay.errors import PlanError

DEFAULT_QUIET_S: Final = 60.0
"""Time enough to get to a sensor and wet, tighten or restart it, without being called again."""
LONGEST_QUIET_S: Final = 86_400.0
OFF: Final = "off"

_KEYS: Final = ("command", "topic", "quiet_s", "sounds", "quiet")


@dataclass(frozen=True, kw_only=True)
class AttentionPlan:
    """What a warning sets off.

    ``command``: program and arguments, run for each warning; ``topic``: MQTT topic on which the
    start and the end of each warning are published; ``quiet_s``: seconds for which the same
    warning does not call again; ``quiet``: other such times by kind of warning, ``None`` for a
    kind that never calls; ``sounds``: whether the view may be heard.
    """

    command: tuple[str, ...] = ()
    topic: str = ""
    quiet_s: float = DEFAULT_QUIET_S
    sounds: bool = True
    quiet: Mapping[str, float | None] = field(default_factory=dict)

    @property
    def needs_watcher(self) -> bool:
        """Whether more is asked for than what a view does by itself."""
        return bool(self.command or self.topic)

    def quiet_of(self, kind: str) -> float | None:
        """Quiet time of a kind of warning in seconds; ``None``: it never calls."""
        return self.quiet.get(kind, self.quiet_s)


def parse_attention(raw: object) -> AttentionPlan:
    """Read the table ``[attention]``.  Raises :class:`PlanError` naming the field and the rule."""
    if not isinstance(raw, dict):
        raise PlanError("attention", "must be a table")
    for key in raw:
        if key not in _KEYS:
            raise PlanError(f"attention.{key}", "is not known; known are " + ", ".join(_KEYS))
    values: dict[str, Any] = dict(raw)
    command = values.get("command", [])
    if not isinstance(command, list) or not all(isinstance(word, str) for word in command):
        raise PlanError("attention.command", "must be a list of texts: program, arguments", command)
    values["command"] = tuple(command)
    quiet = values.get("quiet", {})
    if not isinstance(quiet, dict):
        raise PlanError("attention.quiet", "must be a table of seconds by kind of warning", quiet)
    values["quiet"] = {kind: None if value == OFF else value for kind, value in quiet.items()}
    return AttentionPlan(**values)


def attention_table(attention: AttentionPlan) -> dict[str, object]:
    """The table that :func:`parse_attention` reads back; only what differs from the defaults."""
    usual = AttentionPlan()
    table: dict[str, object] = {
        name: getattr(attention, name)
        for name in ("topic", "quiet_s", "sounds")
        if getattr(attention, name) != getattr(usual, name)
    }
    if attention.command:
        table["command"] = list(attention.command)
    if attention.quiet:
        table["quiet"] = {k: OFF if v is None else v for k, v in attention.quiet.items()}
    return table


def check_attention(attention: AttentionPlan) -> None:
    """Raise :class:`PlanError` for what cannot be meant."""
    if attention.command and not attention.command[0].strip():
        raise PlanError("attention.command", "must begin with a program")
    if not isinstance(attention.topic, str) or any(sign in attention.topic for sign in "+#\0"):
        raise PlanError(
            "attention.topic", "must name one topic, without wildcards", attention.topic
        )
    if not isinstance(attention.sounds, bool):
        raise PlanError("attention.sounds", "must be true or false", attention.sounds)
    _seconds("attention.quiet_s", attention.quiet_s)
    for kind, value in attention.quiet.items():
        if value is not None:
            _seconds(f"attention.quiet, {kind!r}", value, f'; "{OFF}" for never')


def _seconds(where: str, value: object, more: str = "") -> None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise PlanError(where, f"must be a number of seconds{more}", value)
    if not 0 <= value <= LONGEST_QUIET_S:
        raise PlanError(where, f"must lie between 0 and {LONGEST_QUIET_S:g} s", value)
