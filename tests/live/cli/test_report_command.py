"""The command: what it writes, what it refuses, and sessions of which little can be said."""

from __future__ import annotations

import io
import json
import re
from contextlib import redirect_stdout
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.report.words import INVENTED_LONG
from live import __main__ as entry
from live import preflight
from live.cli import report as command
from replay.capture import Capture
from replay.demo_files import demo_captures
from replay.event import NS_PER_S
from tests.standins.feeds import PLAN, beat, two_sensors, written
from tests.standins.small_pictures import small_pictures, without_figures
from tests.test_docs import undocumented

NEEDS = ("jinja2", "matplotlib")  # imported by what is called

ROWING = demo_captures()[0]


def run(capsys, *arguments):
    status = entry.main([*map(str, arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


def reported(capsys, file, folder):
    """The page of a session as text, and its facts."""
    out = folder / "page.html"
    status, told, err = run(capsys, "report", file, "--out", out, "--no-figures", "--json")
    assert status == 0
    assert err == "" or err.endswith("page.html was there already, and is replaced\n")
    return out.read_text(encoding="utf-8"), json.loads(told)


@pytest.fixture(scope="module")
def rowing_facts(tmp_path_factory):
    """What ``--json`` says of the demo session on the rowing machine."""
    page = tmp_path_factory.mktemp("rowing") / "page.html"
    with redirect_stdout(io.StringIO()) as told, without_figures():
        assert (
            entry.main(["report", str(ROWING), "--out", str(page), "--no-figures", "--json"]) == 0
        )
    return json.loads(told.getvalue())


@pytest.fixture
def short(tmp_path):
    """A minute of two sensors."""
    return written(tmp_path / "short.sqlite", two_sensors(60), end_s=60)


def test_page_and_figures_lie_where_they_are_said_to_lie(tmp_path, capsys, monkeypatch):
    """Without options the page is in `reports` and its figures beside it; both are named.  Of a
    reference alone there is one figure, in five files: where a file goes does not ask which.
    """
    plan = replace(PLAN, sensors=PLAN.sensors[:1], invented=True)
    short = written(tmp_path / "short.sqlite", [beat(1, 1, 120)], plan=plan, end_s=3)
    monkeypatch.chdir(tmp_path)
    with small_pictures(), without_figures():  # the page's own are asked of the page
        status, out, err = run(capsys, "report", short)
    page = Path("reports") / "short.html"
    folder = Path("reports") / "short_figures"
    assert (status, err, page.is_file()) == (0, "", True)
    assert f"Page: {page}" in out
    assert f"Figures: 5 files in {folder}" in out
    files = list(folder.iterdir())
    assert (len(files), min(file.stat().st_size for file in files) > 500) == (5, True)
    assert INVENTED_LONG in out


def test_every_key_is_documented(rowing_facts):
    """Each key of the JSON stands in the documentation of this command or of the analysis."""
    facts = dict(rowing_facts)
    for by_label in ("hold_s", "sources", "other_details"):
        facts[by_label] = None
    unknown = undocumented(facts, "report") & undocumented(facts, "analyse")
    # Warnings and markers are as in a replay.
    assert unknown & undocumented(facts, "replay") == set()


def test_analysis_and_report_say_the_same(rowing_facts, capsys):
    """Every fact that the analysis prints has the same value in the report."""
    _, told, _ = run(capsys, "analyse", ROWING, "--json")
    analysed = json.loads(told)
    assert {key: rowing_facts[key] for key in analysed} == analysed


def test_a_page_of_another_kind_is_refused(tmp_path, capsys):
    """A page that would not end in .html is refused before anything is computed."""
    status, _, err = run(capsys, "report", ROWING, "--out", tmp_path / "page.pdf")
    assert (status, err.count("\n"), list(tmp_path.iterdir())) == (2, 1, [])
    assert "must end in .html" in err


def test_what_cannot_be_written_is_one_sentence(tmp_path, capsys, short):
    """Page or figures in a place that is no folder: one sentence, status 2."""
    block = tmp_path / "block"
    block.write_text("a file, not a folder")
    for arguments in (
        ("--out", block / "page.html", "--no-figures"),
        ("--out", tmp_path / "page.html", "--figures", block),
    ):
        with without_figures():
            status, _, err = run(capsys, "report", short, *arguments)
        assert (status, err.count("\n")) == (2, 1)
        assert "cannot be written" in err


def test_without_its_packages_the_line_to_type_is_said(tmp_path, capsys, monkeypatch):
    """If the extra is not installed, the sentence says what installs it."""
    monkeypatch.setattr(preflight, "REPORT_PACKAGES", {"no_such_package": "no-such-package"})
    status, _, err = run(capsys, "report", ROWING, "--out", tmp_path / "page.html")
    assert (status, err.count("\n")) == (2, 1)
    assert "no-such-package" in err
    assert ".[report]" in err


def test_a_demo_without_the_packages_writes_its_numbers(tmp_path, capsys, monkeypatch):
    """Without the extra the demo still ends with a page: the tables alone."""
    monkeypatch.setattr(preflight, "REPORT_PACKAGES", {"no_such_package": "no-such-package"})
    status, out, _ = run(capsys, "demo", "--view", "none", "--speed", "max", "--out", tmp_path)
    page = next(tmp_path.glob("*.html")).read_text(encoding="utf-8")
    assert (status, "<svg" in page, "<pre" in page) == (0, False, True)
    assert "Report:" in out


def test_sensors_that_never_met(tmp_path, capsys):
    """Without a single pair the page is written, and says that nothing can be said."""
    events = [beat(second, 1, 120 + second % 5) for second in range(100)]
    events += [beat(second, 2, 120 + second % 7) for second in range(200, 300)]
    file = written(tmp_path / "a.sqlite", events, end_s=300)
    page, facts = reported(capsys, file, tmp_path)
    assert facts["verdict"][0].startswith("Nothing can be said of how close the sensors are")
    assert facts["sensors"][0]["whole_session"]["pairs"] == 0
    assert "Sorrel was never compared" in page
    assert re.search(r"\bnan\b", page, re.IGNORECASE) is None


def test_a_steady_session(tmp_path, capsys):
    """On a steady heart no effort is found, no delay is given, and both are said."""
    events = [
        event
        for second in range(900)
        for event in (
            beat(second + 0.1, 1, 130 + (second * 7) % 3),
            beat(second + 0.4, 2, 131 + (second * 5) % 4),
        )
    ]
    file = written(tmp_path / "a.sqlite", events, end_s=900)
    with without_figures():
        page, facts = reported(capsys, file, tmp_path)
    assert facts["efforts"] == []
    assert facts["sensors"][0]["delay_s"] is None
    assert "No effort was found" in facts["verdict"][-2]
    assert "the delay against Yarrow cannot be told for Sorrel" in facts["verdict"][-2]
    assert "No efforts were found" in page
    assert re.search(r'class="n faint"[^>]*pearson_r', page)


def test_a_reference_lost_most_of_the_time(tmp_path, capsys):
    """A reference that was there for a fifth of the session: the verdict says for how much."""
    events = [event for event in two_sensors(1000) if event.sensor != 1 or event.t_ns < 200e9]
    file = written(tmp_path / "a.sqlite", events, end_s=1000)
    with without_figures():
        _, facts = reported(capsys, file, tmp_path)
    assert 15 < facts["reference_usable_percent"] < 21
    share = f"only {facts['reference_usable_percent']:.0f} % of the session"
    assert f"Yarrow was usable in {share}" in facts["verdict"][-1]
    assert facts["exclusions"] != []


@pytest.mark.parametrize("seconds", [0, 40])
def test_sessions_too_short_for_anything(tmp_path, capsys, seconds):
    """A session of no or few seconds makes a page as well, without intervals."""
    file = written(tmp_path / "a.sqlite", two_sensors(seconds), end_s=max(seconds, 6))
    page, facts = reported(capsys, file, tmp_path)
    assert facts["sensors"][0]["whole_session"]["mae_bpm_interval"] is None
    assert 3 <= len(facts["verdict"]) <= 4
    assert "<svg" in page


def test_a_capture_that_was_cut_off(tmp_path, capsys):
    """A recording that was not closed is reported, and its page says so."""
    file = written(tmp_path / "a.sqlite", two_sensors(300))
    with without_figures():
        page, facts = reported(capsys, file, tmp_path)
    assert facts["clean"] is False
    assert "was cut off and not closed" in page


def test_marked_efforts_and_refused_suggestions_count(tmp_path, capsys):
    """Efforts that the tester marked stand in the page; a refused suggestion is not left out."""
    events = [
        event
        for event in two_sensors(600)
        if not (event.sensor == 1 and 300e9 < event.t_ns < 330e9)
    ]
    file = written(tmp_path / "a.sqlite", events, end_s=600)
    _, told, _ = run(capsys, "analyse", file, "--json")
    assert json.loads(told)["exclusions"] != []
    from analysis.session.exclusions import suggestions
    from analysis.session.load import session_of

    with Capture.open(file) as capture:
        found = suggestions(session_of(capture)[1])
        for one in found:
            capture.add_note("suggestion-refused", **one.note())
        capture.add_note("effort", from_ns=40 * NS_PER_S, to_ns=120 * NS_PER_S, text="hard")
    with without_figures():
        page, after = reported(capsys, file, tmp_path)
    assert after["exclusions"] == []
    assert [effort["marked"] for effort in after["efforts"] if effort["kind"] == "effort"] == [True]
    assert "E1 (marked)" in page
    assert after["capture_notes"] == len(found) + 1


def test_the_software_is_named():
    """What makes the report is named with its version."""
    assert re.fullmatch(r"Sidebeat \S+.*", command.software())
