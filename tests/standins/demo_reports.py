"""The pages of the demo captures, each made once for all tests of the suite that look at one."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from analysis.report.facts import report_facts
from analysis.session.cache import CACHE_FOLDER_VARIABLE, RecordCache
from live.cli.report import write_report
from replay.capture import Capture
from tests.standins.demo_sessions import demo_session
from tests.standins.shared import made_once


@dataclass(frozen=True, slots=True)
class DemoReport:
    """The page as text, and its facts as JSON gives them back."""

    page: str
    facts: dict[str, Any]


@cache
def demo_report(capture: Path) -> DemoReport:
    """What ``sidebeat report --no-figures`` makes of a demo capture."""

    def make() -> bytes:
        with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
            # Its record is found as it is on a second look: it was computed for other tests.
            patch.setenv(CACHE_FOLDER_VARIABLE, folder)
            with Capture.open(capture) as opened:
                RecordCache(opened).store(demo_session(capture).record)
            out = Path(folder) / "page.html"
            written = write_report(capture, out, None)
            facts = report_facts(written.session.record, written.source)
            return json.dumps({"page": out.read_text(encoding="utf-8"), "facts": facts}).encode()

    return DemoReport(**json.loads(made_once(f"demo-report-{capture.stem}", make)))
