"""The page for the phone on the terminal's screen: its code and its addresses."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.text import Text

from live.protocol.feed import CaptureStatus
from live.views.shared.qr import qr_lines


def page_screen(status: CaptureStatus, height: int, *, plain: bool) -> RenderableType:
    """In the place of everything else; the addresses alone where the code is too tall."""
    told = [
        Text(f"The page for the phone: {status.page}", overflow="fold"),
        Text(f"For looking only: {status.page_to_look}", overflow="fold"),
        Text("p back to the session", style="dim"),
    ]
    code = [Text(line, no_wrap=True) for line in qr_lines(status.page, plain=plain)]
    return Group(*(code if len(code) + len(told) + 2 <= height else []), *told)
