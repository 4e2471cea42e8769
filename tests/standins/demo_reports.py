"""The pages of the demo captures, each made once for all tests of the suite that look at one."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from analysis.report.facts import report_facts
from live.cli.report import write_report
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
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "page.html"
            written = write_report(capture, out, None)
            facts = report_facts(written.session.record, written.source)
            return json.dumps({"page": out.read_text(encoding="utf-8"), "facts": facts}).encode()

    return DemoReport(**json.loads(made_once(f"demo-report-{capture.stem}", make)))
