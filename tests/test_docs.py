"""The documentation says what the program does: every option, every key, every line to type."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import io
import json
import re
import shlex
import sqlite3
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest

from analysis.board.snapshot import WarningKind
from analysis.report.study.facts import study_facts
from analysis.study.reading import LeftOut
from analysis.study.study import study_of
from live import __main__ as entry
from live.cli.main import COMMANDS, command_parser, load
from live.sources import simulated
from live.sources.simulated import SimulatedSource
from replay.capture.schema import schema
from replay.demo_files import demo_captures
from replay.plan import parse_plan
from tests.standins.feeds import two_sensors, written
from tests.standins.options import actions_of
from tests.standins.small_pictures import without_figures
from tests.standins.study_rows import sessions

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
REFERENCE = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
ROWING = demo_captures()[0]
GUIDE = tuple(sorted(path.stem for path in (ROOT / "docs").glob("*.md")))
LONGEST_README = 70
"""Lines: what fits on one screen without scrolling far."""
LONGEST_PICTURE = 1_000_000


def page(name):
    """The text of one page of the guide."""
    return (ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8")


def section(command):
    """The part of docs/commands.md about one command."""
    start = re.search(rf"^## sidebeat {command}\b", REFERENCE, re.MULTILINE)
    assert start is not None
    rest = REFERENCE[start.end() :]
    end = re.search(r"^## ", rest, re.MULTILINE)
    return rest[: end.start()] if end else rest


def code_words(text):
    return set(re.findall(r"`([^`\n]+)`", text))


def test_every_command_is_introduced():
    """Each command stands on the guide's first page and has its part of the reference."""
    first = page("index")
    missing = [name for name in COMMANDS if f"`sidebeat {name}" not in first]
    assert missing == []
    assert [name for name in COMMANDS if not section(name).strip()] == []


def options_of(name):
    """The long options of a command that its help shows, but for those that all have."""
    return {
        option
        for action in actions_of(command_parser(name))
        for option in action.option_strings
        if option.startswith("--")
        and option not in {"--help", "--verbose"}
        and action.help != argparse.SUPPRESS
    }


def documented_options(name):
    """The long options that stand in a command's part of the reference."""
    cells = [line.split("|")[1] for line in section(name).splitlines() if line[:3] == "| `"]
    return set(re.findall(r"--[a-z][a-z-]*", " ".join(cells)))


def test_every_option_is_documented_and_every_documented_one_exists():
    """The options of the reference are exactly those of the parser; what all know stands on top."""
    common = set(re.findall(r"`(--[a-z]+)`", REFERENCE[: REFERENCE.index("\n## ")]))
    assert {"--help", "--verbose"} <= common
    assert {name: documented_options(name) for name in COMMANDS} == {
        name: options_of(name) for name in COMMANDS
    }


def keys_of(value):
    """Every key in a JSON value, but the keys of tables by channel and by window of time."""
    if isinstance(value, list):
        return set().union(*map(keys_of, value)) if value else set()
    if not isinstance(value, dict):
        return set()
    found = set(value)
    for key, inner in value.items():
        if key == "agreement":
            found |= keys_of(list(inner.values()))
        elif not (key in {"events", "session_events"} and isinstance(inner, dict)):
            found |= keys_of(inner)
    return found


def facts_of(capsys, *arguments):
    status = entry.main([*map(str, arguments), "--json"])
    told = capsys.readouterr().out
    return status, json.loads(told)


def undocumented(facts, command):
    known = code_words(section(command))
    keys = {key.removesuffix("_interval") for key in keys_of(facts)}
    return keys - known


@pytest.mark.parametrize("name", ["replay", "analyse", "check"])
def test_every_key_of_a_good_capture_is_documented(name, capsys):
    """Each key that a command prints for the demo recordings stands in its part of the docs."""
    for capture in demo_captures():
        status, facts = facts_of(capsys, name, capture)
        assert (status, undocumented(facts, name)) == (0, set())


def test_every_key_about_damage_is_documented(tmp_path, capsys):
    """Each key of a damaged capture's check and of its salvage stands in the docs."""
    damaged = tmp_path / "damaged.sqlite"
    damaged.write_bytes(ROWING.read_bytes()[:-5000])
    status, facts = facts_of(capsys, "check", damaged)
    assert (status, facts["whole"], undocumented(facts, "check")) == (1, False, set())
    status, facts = facts_of(capsys, "check", damaged, "--salvage", tmp_path / "saved.sqlite")
    assert (status, undocumented(facts, "check")) == (0, set())


def test_every_key_of_found_sensors_is_documented():
    """Each fact of a sensor in reach stands in the docs."""
    from live.sources.bluetooth import Adapter, FoundSensor

    adapter = Adapter(name="hci0", address="", alias="", powered=True, central=True)
    sensor = FoundSensor(
        name="Yarrow", address="C0:00:00:00:00:01", services=("heart rate",), signal_dbm=-60
    )
    adapters = [dataclasses.asdict(adapter)]
    facts = {"listened_s": 8.0, "adapters": adapters, "sensors": [sensor.facts()]}
    assert undocumented(facts, "sensors") == set()


def test_every_key_of_a_study_is_documented():
    """Each key of a study with failures, firmwares and swaps stands in the docs."""
    rows = sessions({"Sorrel": [1.0, 2.0, 15.0], "Tansy": [2.0, 3.0, 2.5]})
    left_out = [LeftOut("notes.txt", "notes.txt: is no capture")]
    facts = study_facts(study_of([*rows, rows[0]], left_out))
    assert undocumented(facts, "study") == set()


def test_every_warning_is_documented():
    """Each kind of warning has its line in the guide: when it is said, and what to do."""
    rows = re.findall(r"^\| `([^`]+)` \| (.+) \| (.+) \|$", page("warnings"), re.MULTILINE)
    explained = {name for name, *cells in rows if all(len(cell) > 10 for cell in cells)}
    assert {kind.value for kind in WarningKind} - explained == set()


def refused(name, words):
    """Why the parser of a command refuses these words; empty where it takes them."""
    said = io.StringIO()
    try:
        with contextlib.redirect_stderr(said):
            command_parser(name).parse_args(words)
    except SystemExit:
        return said.getvalue() or "it ends at once"
    return ""


def test_examples_can_be_typed():
    """Each line of a command's example is accepted by its parser."""
    wrong = {}
    for name in COMMANDS:
        for line in load(name).EXAMPLE.strip().splitlines():
            words = shlex.split(re.split(r"\s{3,}| > ", line)[0])
            assert words[:2] == ["sidebeat", name]
            if why := refused(name, words[2:]):
                wrong[line] = why
    assert wrong == {}


def blocks(text, language):
    return [
        "\n".join(line.strip() for line in block.splitlines())
        for block in re.findall(rf"^\s*```{language}\n(.*?)^\s*```", text, re.MULTILINE | re.DOTALL)
    ]


def guide_lines():
    """Every `sidebeat` line of the README and of the guide."""
    texts = [README, *map(page, GUIDE)]
    shell = [block for text in texts for block in blocks(text, "sh")]
    lines = [line.split("#")[0].strip() for block in shell for line in block.splitlines()]
    inline = [line for text in texts for line in re.findall(r"`(sidebeat [a-z]+ [^`\n]*)`", text)]
    return sorted({line for line in [*lines, *inline] if line.startswith("sidebeat ")})


def test_lines_of_the_guide_are_accepted():
    """Every `sidebeat` line of the README and the guide fits its command's parser."""
    wrong = {}
    for line in guide_lines():
        words = shlex.split(line.split(" > ")[0])
        if words[-1] in {"FILE", "FOLDER", "..."} or "COMMAND" in words:
            assert words[1] in {*COMMANDS, "COMMAND"}, line
        elif why := refused(words[1], words[2:]):
            wrong[line] = why
    assert wrong == {}
    assert len(guide_lines()) > 40


@pytest.mark.parametrize(
    "line",
    [
        line
        for line in guide_lines()
        if re.search(r"captures(/\S+sqlite)?( |$)", line)
        and " live " not in line
        and "--view window" not in line  # it waits to be closed; its own tests do so
    ],
)
def test_lines_about_captures_run(line, capsys, monkeypatch, tmp_path):
    """The guide's lines about finished captures work: on the demo recordings, or on a short one."""
    if "report" in line:
        pytest.importorskip("jinja2", reason="pages need the extra report")
    monkeypatch.chdir(tmp_path)
    file, folder = ROWING, ROWING.parent
    if re.search("report|--out", line):  # pages: what is shorter, or one alone, is drawn sooner
        folder = tmp_path / "some"
        folder.mkdir()
        file = written(folder / "rowing.sqlite", two_sensors(60), end_s=60)
    line = re.sub(r"captures/\S+sqlite", lambda _: shlex.quote(str(file)), line)
    line = re.sub(r"\bcaptures\b", lambda _: shlex.quote(str(folder)), line)
    words = shlex.split(line)
    if words[1] == "replay":
        words += ["--view", "terminal", "--speed", "max"]
    # The figures of a session are drawn for the first of the lines that are alike but for a name.
    drawn = contextlib.nullcontext() if "--out" not in words else without_figures()
    with drawn:
        assert entry.main(words[1:]) == 0
    assert re.search("W1|rowing", capsys.readouterr().out)


def test_the_practice_line_runs(capsys, monkeypatch):
    """Practice on simulated sensors runs as the README says, without a view and for a moment: the
    session in which nobody was heard is a failure.
    """
    monkeypatch.chdir(ROOT)
    monkeypatch.setattr(simulated, "SimulatedSource", partial(SimulatedSource, speed=20.0))
    line = next(line for line in guide_lines() if "--practice" in line)
    words = shlex.split(line)[1:]
    status, facts = facts_of(capsys, *words, "--view", "none", "--minutes", "0.015")
    assert (status, facts["capture"], undocumented(facts, "live")) == (0, None, set())
    assert facts["events"] > 0


def test_the_demo_shows_warnings_and_ends_with_table_and_report(tmp_path, capsys):
    """Played in the terminal, the demo prints a warning of the strap and that it is over, shows the
    agreement of each test sensor, and writes the report that it names.
    """
    arguments = ["demo", "--view", "terminal", "--speed", "max", "--out", str(tmp_path)]
    with without_figures():
        assert entry.main(arguments) == 0
    told = capsys.readouterr().out
    assert "REFERENCE Yarrow: no contact" in told
    assert "over: Yarrow: no contact" in told
    report = next(tmp_path.glob("*.html"))
    assert f"Report: {report}" in told.replace("\n", "")
    for words in ("Sorrel", "Tansy", "Bracken", "inside tolerance", "INVENTED DATA"):
        assert words in told
        assert words in report.read_text(encoding="utf-8")


def test_the_plans_of_the_guide_are_plans():
    """The plans of the guide can be read and name a reference and a test sensor; what stands alone
    completes them.
    """
    own, broker = blocks(page("first-session"), "toml")[0], blocks(page("mqtt"), "toml")
    for text in (own, broker[0], f"{own}\n{broker[1]}"):
        assert [sensor.role for sensor in parse_plan(text).sensors] == ["reference", "test"]


@pytest.mark.parametrize("query", blocks(page("formats"), "sql"))
def test_queries_about_the_file_run(query):
    """The SQL of the guide answers on a demo recording."""
    with contextlib.closing(sqlite3.connect(f"file:{ROWING}?mode=ro", uri=True)) as file:
        assert file.execute(query).fetchall()


def test_the_tables_of_the_file_are_described():
    """Each table of a capture, as it is made today, has its line."""
    with contextlib.closing(sqlite3.connect(":memory:")) as file:
        file.executescript(schema())
        tables = file.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()
    described = set(re.findall(r"^\| `(\w+)` \|", page("formats"), re.MULTILINE))
    assert {name for (name,) in tables} == described


def test_links_lead_somewhere():
    """Every relative link and picture in the documents exists."""
    documents = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "CONTRIBUTING.md")]
    documents += [ROOT / "docs" / f"{one}.md" for one in GUIDE]
    links = [
        (document, link)
        for document in documents
        for link in re.findall(r"\]\(([^)#]+)\)", document.read_text(encoding="utf-8"))
        if "://" not in link
    ]
    assert len(links) > 20
    assert [(str(one), link) for one, link in links if not (one.parent / link).exists()] == []


def test_the_readme_is_one_screen():
    """The README is short, opens with the job, and its picture moves and is not heavy."""
    assert len(README.splitlines()) <= LONGEST_README
    assert README.splitlines()[2].startswith("**Sidebeat ")
    picture = (ROOT / re.findall(r"!\[[^]]*\]\(([^)]+)\)", README)[0]).read_bytes()
    assert b"acTL" in picture[:200]  # the chunk of an animated PNG
    assert len(picture) < LONGEST_PICTURE


def test_the_guide_is_built_without_a_complaint(tmp_path):
    """Every page of the guide is on the site, every link and heading that is pointed to exists."""
    pytest.importorskip("mkdocs", reason="the guide is built by mkdocs")
    built = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "--site-dir", tmp_path],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=50,
    )  # fmt: skip
    assert (built.returncode, built.stdout) == (0, ""), built.stderr
    pages = {path.parent.name for path in tmp_path.glob("*/index.html")}
    assert {name for name in GUIDE if name != "index"} <= pages
    assert "https://" not in re.sub(
        r'<a [^>]*href="[^"]*"', "", (tmp_path / "index.html").read_text(encoding="utf-8")
    ), "the site loads nothing from elsewhere"


def test_paths_of_the_map_exist():
    """Every path that DEVELOPERS.md names in code marks is there."""
    named = re.findall(r"`((?:live|analysis|replay|tests|docs)/[\w/]+(?:\.\w+)?/?)`", DEVELOPERS)
    assert len(named) > 5
    assert [path for path in named if not (ROOT / path).exists() and "NAME" not in path] == []


def test_make_targets_in_the_documents_exist():
    """Every `make` target that the documents name is in the Makefile."""
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(" ".join(re.findall(r"^([a-z][a-z -]*):", makefile, re.MULTILINE)).split())
    named = set(re.findall(r"(?:^|`)make ([a-z][a-z-]*)", README + DEVELOPERS, re.MULTILINE))
    assert named <= targets
