"""The broker of a plan: where its MQTT sensors publish, and under what the board is published."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Final

from replay.errors import PlanError
from replay.text import is_printable
from replay.toml_table import checked_table

BROKER_KEYS: Final = {
    "host": str, "port": int, "username": str, "password_env": str, "tls": bool,
    "ca_file": str, "cert_file": str, "key_file": str, "publish": str,
}  # fmt: skip
LONGEST_PREFIX: Final = 100
"""Characters: room is left for a sensor's label behind it."""


@dataclass(frozen=True, kw_only=True)
class Broker:
    """Where the MQTT sensors of a plan publish."""

    host: str = "127.0.0.1"
    port: int = 1883
    username: str = ""
    password_env: str = ""
    """Name of the environment variable that holds the password; never the password itself."""
    tls: bool = False
    ca_file: str = ""
    """PEM file of the authority that signed the broker's certificate; the system's if empty."""
    cert_file: str = ""
    """PEM file of this computer's own certificate, where the broker wants one."""
    key_file: str = ""
    """Its key, if that is not in ``cert_file``; without a passphrase."""
    publish: str = ""
    """Prefix of the topics under which the board is published; empty: it is not."""

    embedded: bool = False
    """It is the small one that the recording starts beside itself, which speaks MQTT 3.1.1 alone;
    never said in a plan."""

    def with_files(self, found: Callable[[str], str]) -> Broker:
        """The same, each of its files at the place that ``found`` gives."""
        return replace(
            self,
            ca_file=found(self.ca_file),
            cert_file=found(self.cert_file),
            key_file=found(self.key_file),
        )


def parse_broker(raw: object) -> Broker:
    """The broker that a plan's table describes.  Raises :class:`~replay.errors.PlanError`."""
    return Broker(**checked_table("broker", raw, BROKER_KEYS, required=()))


def check_prefix(prefix: str, topics: Iterable[str]) -> None:
    """Raise :class:`PlanError` for a prefix under which the board cannot be published.

    ``topics``: those that are used otherwise; a sensor's topic under the prefix would be a loop.
    """
    if len(prefix) > LONGEST_PREFIX:
        raise PlanError("broker.publish", f"must have at most {LONGEST_PREFIX} characters", prefix)
    if any(sign in prefix for sign in "+#") or not is_printable(prefix):
        rule = "must be a topic without wildcards and signs that cannot be seen: gym/board"
        raise PlanError("broker.publish", rule, prefix)
    if not all(prefix.split("/")) or prefix.startswith("$"):
        rule = "must be names joined by /, none of them empty, the first without $: gym/board"
        raise PlanError("broker.publish", rule, prefix)
    for topic in topics:
        if topic == prefix or topic.startswith(f"{prefix}/"):
            rule = f"stands over {topic!r}, on which this plan listens or calls; choose another"
            raise PlanError("broker.publish", rule, prefix)


def broker_table(broker: Broker) -> dict[str, object]:
    """The table of a plan that :func:`parse_broker` reads back to an equal broker."""
    return {key: getattr(broker, key) for key in BROKER_KEYS if getattr(broker, key)}
