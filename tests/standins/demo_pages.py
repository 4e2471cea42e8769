"""The demo reports as a browser shows and prints them: by one browser, once for all tests, since
beginning one takes longer than laying a page out.
"""

from __future__ import annotations

import base64
import json
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from replay.demo_files import demo_captures
from tests.standins.browser import WINDOW, measuring_page
from tests.standins.demo_reports import demo_report
from tests.standins.phone import running_phone
from tests.standins.shared import made_once

WIDTHS: Final = (360, 390, 820, 1280)
"""CSS pixels of phones, a tablet and a desktop."""


@dataclass(frozen=True, slots=True)
class DemoPages:
    """By report, in the order of the captures: ``seen``, a list by width, and ``printed`` as PDF.
    ``console``: what was said there while they were measured.
    """

    seen: list[list[dict[str, Any]]]
    console: list[str]
    printed: list[bytes]


@cache
def demo_pages() -> DemoPages:
    """The reports of the demo captures in a browser."""
    told = json.loads(made_once("demo-pages", _looked_at))
    printed = [base64.b64decode(one) for one in told["printed"]]
    return DemoPages(told["seen"], told["console"], printed)


def _looked_at() -> bytes:
    pages = [demo_report(capture).page for capture in demo_captures()]
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as made:
        folder = Path(made)
        said = folder / "said"
        options = ("--enable-logging=stderr", WINDOW)
        with running_phone(folder, *options, scrollbars=True, complaints=said) as browser:
            tab = browser.open_as_on_a_desktop(measuring_page(pages, list(WIDTHS), folder).as_uri())
            tab.until("document.querySelector('pre')", "measures")
            found = json.loads(tab.text_of("pre"))
            console = [line for line in said.read_text().splitlines() if "CONSOLE" in line]
            printed = []
            for number, page in enumerate(pages):
                path = folder / f"{number}.html"
                path.write_text(page, encoding="utf-8")
                tab = browser.open(path.as_uri())
                tab.until("document.readyState == 'complete' && document.body.innerText", "page")
                printed.append(base64.b64encode(tab.printed()).decode())
    seen = [sorted(one, key=lambda at: at["width"]) for one in found]
    return json.dumps({"seen": seen, "console": console, "printed": printed}).encode()
