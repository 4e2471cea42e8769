"""The page of a plan: whether one is served for a phone, and where it listens."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from replay.errors import PlanError
from replay.text import is_printable
from replay.toml_table import checked_table

LOOPBACK: Final = "127.0.0.1"
PAGE_PORT: Final = 8765
PAGE_KEYS: Final = {"address": str, "port": int, "cert_file": str, "key_file": str}
LONGEST_ADDRESS: Final = 253
"""Characters of a name of a computer (RFC 1035)."""


@dataclass(frozen=True, kw_only=True)
class PagePlan:
    """Where the page listens.  ``address``: one of this computer's, or ``0.0.0.0`` for all."""

    address: str = LOOPBACK
    port: int = PAGE_PORT
    cert_file: str = ""
    """PEM file of this computer's certificate; with one the page is served encrypted."""
    key_file: str = ""
    """Its key, if that is not in ``cert_file``; without a passphrase."""

    def with_files(self, found: Callable[[str], str]) -> PagePlan:
        """The same, each of its files at the place that ``found`` gives."""
        return replace(self, cert_file=found(self.cert_file), key_file=found(self.key_file))


def parse_page(raw: object) -> PagePlan:
    """The page that a plan's table describes.  Raises :class:`~replay.errors.PlanError`."""
    return PagePlan(**checked_table("page", raw, PAGE_KEYS, required=()))


def check_page(page: PagePlan) -> None:
    """Raise :class:`PlanError` for what cannot be meant."""
    address = page.address
    if not 0 < len(address) <= LONGEST_ADDRESS or not is_printable(address) or " " in address:
        raise PlanError("page.address", "must be an address or a name of this computer", address)
    if not 1 <= page.port <= 65535:
        raise PlanError("page.port", "must lie between 1 and 65535", page.port)
    if page.key_file and not page.cert_file:
        raise PlanError("page.cert_file", "is needed where there is a key_file")


def page_table(page: PagePlan) -> dict[str, object]:
    """The table of a plan that :func:`parse_page` reads back to an equal page."""
    usual = PagePlan()
    always = ("address", "port")
    return {
        key: getattr(page, key)
        for key in PAGE_KEYS
        if key in always or getattr(page, key) != getattr(usual, key)
    }
