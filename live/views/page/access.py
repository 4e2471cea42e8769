"""Who may see the page: two tokens, the names under which it is asked for, and what it may load.

Pure: what a request says goes in, whether it is let in comes out.
"""

from __future__ import annotations

import hmac
import ipaddress
import re
import secrets
import socket
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

_HOST: Final = re.compile(r"(\[[0-9a-fA-F:.]{2,45}\]|[A-Za-z0-9._-]{1,253})(?::\d{1,5})?")
_EVERY: Final = ("0.0.0.0", "::")  # noqa: S104 - recognised here, bound where the tester asked
_BYTES: Final = 16


class Right(StrEnum):
    """What a token opens."""

    FULL = "full"
    READ = "read"
    """To look, without marker and acknowledgement."""


@dataclass(frozen=True)
class Tokens:
    """128 random bits each, new for each recording."""

    full: str = field(default_factory=lambda: secrets.token_urlsafe(_BYTES))
    read: str = field(default_factory=lambda: secrets.token_urlsafe(_BYTES))

    def right_of(self, told: str) -> Right | None:
        """What a token from an address opens; takes as long whichever it is."""
        given = told.encode(errors="replace")
        is_full = hmac.compare_digest(given, self.full.encode())
        is_read = hmac.compare_digest(given, self.read.encode())
        if is_full:
            return Right.FULL
        return Right.READ if is_read else None


def host_of(header: str | None) -> str:
    """The host and port of a ``Host`` header as told; empty where it is none."""
    return header if header and _HOST.fullmatch(header) else ""


def is_own_name(host: str, served: str, own: str) -> bool:
    """Whether a page asked for under this host is ours, and not another's name for our address.

    A page of somebody else's can have its name point to this computer, and would then be of one
    origin with ours (DNS rebinding).  An address in figures has no such owner.  ``served``: the
    address that the tester gave; ``own``: how this computer is called.
    """
    found = _HOST.fullmatch(host)
    if found is None:
        return False
    name = found[1].strip("[]").lower().rstrip(".")
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name in {"localhost", served.lower(), own.lower(), f"{own.lower()}.local"}
    return True


def headers_of(host: str, *, secure: bool) -> dict[str, str]:
    """What every answer says of itself.  ``host``: checked, as the browser knows us."""
    socket_scheme = "wss" if secure else "ws"
    policy = (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        # Older browsers do not count a WebSocket as 'self'.
        f"connect-src 'self' {socket_scheme}://{host}; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    isolated = {"Cross-Origin-Opener-Policy": "same-origin"} if secure else {}
    return {
        **isolated,  # browsers complain of it where they would not heed it
        "Content-Security-Policy": policy,
        "Referrer-Policy": "no-referrer",
        "X-Content-Type-Options": "nosniff",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "screen-wake-lock=(self), camera=(), microphone=(), geolocation=()",
        "Cache-Control": "no-store",
    }


def is_same_origin(origin: str | None, host: str, *, secure: bool) -> bool:
    """Whether a WebSocket is opened by our own page; a program that is no browser says nothing."""
    scheme = "https" if secure else "http"
    return origin is None or origin.lower() == f"{scheme}://{host}".lower()


def shown_address(address: str) -> str:
    """The address to give to a phone; where all are listened on, the one that reaches a network."""
    if address not in _EVERY:
        return address
    family, far = (
        (socket.AF_INET6, "2001:db8::1") if address == "::" else (socket.AF_INET, "192.0.2.1")
    )
    try:
        # Nothing is sent: the system only says from where it would go (addresses of RFC 5737/3849).
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((far, 9))
            return str(probe.getsockname()[0])
    except OSError:
        return socket.gethostname()


def url_of(address: str, port: int, token: str, *, secure: bool) -> str:
    """The page's address as a phone opens it."""
    host = f"[{address}]" if ":" in address else address
    return f"{'https' if secure else 'http'}://{host}:{port}/{token}/"
