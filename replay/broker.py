"""Where the MQTT sensors of a plan publish, as the plan says it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from replay.toml_table import checked_table

BROKER_KEYS: Final = {
    "host": str, "port": int, "username": str, "password_env": str, "tls": bool,
    "ca_file": str, "cert_file": str, "key_file": str,
}  # fmt: skip


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
