"""The page of a study: what it holds, and that nothing of a capture becomes markup."""

from __future__ import annotations

import re

import pytest

from analysis.report.study.page import study_page
from analysis.study.reading import LeftOut
from analysis.study.study import study_of
from live import __main__ as entry
from live.cli import study as command
from tests.standins.study_rows import sensor_row, session_row, sessions

TWO = {"Sorrel": [1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 15.0], "Tansy": [3.1, 2.9, 3.4, 3.0, 2.7, 3.0, 3.0]}
ONE = {"Sorrel": [1.0, 1.2, 0.9]}
HOSTILE = "<script>alert(1)</script>$x$"


def text_of(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.split("</style>", 1)[1]).split())


@pytest.fixture(scope="module")
def page():
    """Of two sensors, a copy of a session and a file that is none."""
    rows = sessions(TWO, invented=True)
    left_out = [LeftOut("notes.txt", "notes.txt: is no capture")]
    return study_page(study_of([*rows, rows[0]], left_out), "Sidebeat 0")


def test_the_page_holds_claims_figures_numbers_and_methods(page):
    """What the terminal says stands on the page, with figures, all sessions and citations."""
    text = text_of(page)
    assert "INVENTED DATA" in text
    assert "Sorrel was closer than Tansy in rowing ergometer" in text
    assert "It lost the heart in 1 of 7 sessions" in text
    assert "a copy of the recording in captures/000.sqlite" in text
    assert "notes.txt: is no capture" in text
    assert "step-down max-T sign flips" in text
    assert "Westfall PH" in text
    # Sessions, once more without the failure that stretches the axis, and differences; two widths.
    assert page.count("<svg") == 6


def test_the_page_needs_nothing_beside_it(page):
    """It loads nothing: no script, no link to a file or another machine."""
    assert "<script" not in page
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', page) == []


def test_labels_are_text_on_the_page():
    """A label, an activity or a path of markup is shown as it is written."""
    rows = [
        session_row(
            n, [sensor_row(HOSTILE), sensor_row("B")], activity=HOSTILE, path=f"{n}{HOSTILE}"
        )
        for n in range(3)
    ]
    page = study_page(study_of(rows), "Sidebeat 0")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;$x$" in page


def test_the_command_writes_the_page_or_says_why_not(tmp_path, capsys, monkeypatch):
    """``--out`` writes the page; another ending is refused before anything is read."""
    monkeypatch.setattr(command, "read", lambda *_, **__: study_of(sessions(ONE)))
    page = tmp_path / "new" / "study.html"
    assert entry.main(["study", "captures", "--out", str(page)]) == 0
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert entry.main(["study", "captures", "--out", str(tmp_path / "study.pdf")]) == 2
    assert "must end in .html" in capsys.readouterr().err
