"""The listening process of the set-up page, with a shorter breath."""

from __future__ import annotations

from live.setup.subprocesses import LineSubprocess

TOLD_S = 0.3
"""How often it tells of nodes."""


def brisk_listener() -> LineSubprocess:
    """It listens in rounds of half a second instead of 3 s, and tells of nodes as often."""
    return LineSubprocess(
        [
            "-c",
            "import sys\nfrom live.setup import listen\n"
            f"listen.ROUND_S, listen.TOLD_S = 0.5, {TOLD_S}\nsys.exit(listen.main())",
        ]
    )
