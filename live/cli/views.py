"""Which view is opened: asked for, or the best that this machine can show."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from typing import Final

from live import preflight
from live.notify.options import DEFAULT_OPTIONS, NotifyOptions
from live.protocol.feed import Feed

VIEWS: Final = ("window", "terminal", "none")


def add_view_option(parser: argparse.ArgumentParser, *, none_means: str) -> None:
    """Add ``--view`` to a command; ``none_means`` completes its help."""
    parser.add_argument(
        "--view",
        choices=VIEWS,
        help="where to show it: the window (default where there is a screen), the terminal, "
        f"or none: {none_means}",
    )


def split_command(text: str) -> tuple[str, ...]:
    """A command line as program and arguments, for an argument of the parser."""
    try:
        words = shlex.split(text, posix=os.name != "nt")
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"cannot be read: {error}") from None
    if os.name == "nt":  # backslashes are of paths there, and quotation marks stay on the words
        words = [word.strip('"') for word in words]
    if not words or not words[0]:
        raise argparse.ArgumentTypeError("must begin with a program")
    return tuple(words)


def chosen_view(asked: str | None) -> str:
    """``"window"``, ``"terminal"`` or ``"none"``.

    Without a screen, or without what the window needs, the terminal is taken instead, and a
    sentence on stderr says why.
    """
    if asked in {"terminal", "none"}:
        return asked
    reason = preflight.no_window()
    if not reason:
        return "window"
    print(f"{reason}  The terminal view is taken.", file=sys.stderr)
    return "terminal"


def show(
    feed: Feed,
    view: str,
    *,
    leave_at_end: bool = False,
    summary: bool = True,
    options: NotifyOptions = DEFAULT_OPTIONS,
) -> int:
    """Run the window or the terminal view on a feed until it is left; returns its exit status.

    ``leave_at_end``: the terminal view ends with the feed instead of waiting for a key.
    ``summary``: the terminal view leaves its last tables behind.  ``options``: how it calls.
    """
    if view == "window":
        from live.views.window.app import run_window  # noqa: PLC0415 - Qt, only where it is wanted

        return run_window(feed, options)
    from live.views.terminal.app import run_terminal  # noqa: PLC0415 - as above

    return run_terminal(feed, leave_at_end=leave_at_end, summary=summary, options=options)
