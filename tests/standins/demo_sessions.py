"""The demo sessions as they are computed, each once for all tests of the suite that look at it."""

from __future__ import annotations

import os
import pickle
import tempfile
from functools import cache
from pathlib import Path

import pytest

from analysis.session.cache import CACHE_FOLDER_VARIABLE, RecordCache
from analysis.session.pipeline import Session, session_of
from replay.capture import Capture
from replay.demo_files import demo_captures
from tests.standins.shared import is_shared, made_once


def rowing_session() -> Session:
    """22 min 30 s from 06:15 UTC on, three test sensors."""
    return demo_session(demo_captures()[0])


def demo_session(capture: Path) -> Session:
    """The session of a demo capture as the computation has it: its record was never kept."""
    return _session(capture, os.getpid())


@cache
def _session(path: Path, _process: int) -> Session:
    """Each process by itself: a fork may have other code than the one that it was made of."""

    def make() -> bytes:
        with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
            patch.setenv(CACHE_FOLDER_VARIABLE, folder)
            with Capture.open(path) as capture:
                session = session_of(capture)
        if is_shared():
            with Capture.open(path) as capture:  # for whoever looks the second time
                RecordCache(capture).store(session.record)
        return pickle.dumps(session)

    session = pickle.loads(made_once(f"demo-session-{path.stem}", make))  # noqa: S301 - made above
    assert isinstance(session, Session)
    return session
