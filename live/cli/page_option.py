"""``--page``: what can be known before a recording begins, and what the watcher prints of it."""

from __future__ import annotations

import argparse
import os
import socket
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from live import preflight
from replay.errors import SidebeatError
from replay.page import LOOPBACK, PagePlan

if TYPE_CHECKING:
    from replay.plan import Plan

HELP: Final = (
    "serve a page for the phone of the one who exercises: on this computer alone, or on ADDRESS, "
    "one of its addresses (0.0.0.0: all), and PORT (default: 8765)"
)


def parse_place(text: str) -> tuple[str | None, int | None]:
    """``ADDRESS``, ``ADDRESS:PORT`` or ``:PORT``, as far as given; an argument's type."""
    host, separator, port = text.rpartition(":")
    if not separator or "]" in port or (":" in host and "]" not in host):
        host, port = text, ""
    if port and not (port.isascii() and port.isdigit() and 1 <= int(port) <= 65535):
        raise argparse.ArgumentTypeError(f"must be ADDRESS, ADDRESS:PORT or :PORT, not {text}")
    return host.strip("[]") or None, int(port) if port else None


def with_page(plan: Plan, place: tuple[str | None, int | None] | None) -> Plan:
    """The plan with the page that an option asks for, tried.

    Raises :class:`SidebeatError` in one sentence where it cannot be served.
    """
    if place is not None:
        page = plan.page or PagePlan()
        address, port = place
        page = replace(page, address=address or page.address, port=port or page.port)
        plan = replace(plan, page=page)
    if plan.page is not None:
        check_page(plan.page)
    return plan


def check_page(page: PagePlan) -> None:
    """Raise :class:`SidebeatError` where the page cannot be served here."""
    lacking = preflight.missing_packages(preflight.PAGE_PACKAGES)
    if lacking:
        raise SidebeatError(
            f"the page needs {' and '.join(lacking)}: {preflight.install_line('page')}"
        )
    from live.views.page.server import cannot_listen, tls_of  # noqa: PLC0415 - the web library

    tls_of(page)
    try:
        found = socket.getaddrinfo(page.address, page.port, type=socket.SOCK_STREAM)
        for family, kind, protocol, _, at in found[:1]:
            with socket.socket(family, kind, protocol) as trial:
                if os.name == "posix":  # elsewhere it would take a port that is in use
                    trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                trial.bind(at)
    except OSError as error:
        raise SidebeatError(cannot_listen(page, error)) from None


def page_lines(full: str, read: str, page: PagePlan) -> list[str]:
    """What the tester is told in the terminal: where the page is, and its code."""
    from live.views.shared.qr import qr_lines  # noqa: PLC0415 - an extra

    lines = [f"The page for the phone: {full}"]
    if page.address == LOOPBACK:
        lines.append("(On this computer alone; for a phone give its address: --page 0.0.0.0)")
    else:
        lines += qr_lines(full)
    return [*lines, f"For looking only: {read}"]
