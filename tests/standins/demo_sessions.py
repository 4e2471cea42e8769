"""The demo sessions as they are computed, once for all tests of a process that only look at one."""

from __future__ import annotations

from functools import cache

from analysis.session.pipeline import Session, session_of
from replay.capture import Capture
from replay.demo_files import demo_captures


@cache
def rowing_session() -> Session:
    """22 min 30 s from 06:15 UTC on, three test sensors."""
    with Capture.open(demo_captures()[0]) as capture:
        return session_of(capture)
