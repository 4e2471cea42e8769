"""The plan of a study: what it may say, which cells are filled, what was decided later."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from analysis.report.study.plan_words import plan_lines
from analysis.study.study_plan import State, filled_cells, is_planned, load_study_plan
from live import __main__ as entry
from live.cli import study as command
from replay.errors import SidebeatError
from tests.standins.study_rows import four_sessions

DOCS = Path(__file__).resolve().parents[3] / "docs" / "commands.md"
HEAD = '[study]\ndated = {dated}\nstop = "six of each"\n'
CELLS = """
[[cell]]
sensor = "Sorrel"
activity = "Rowing  ergometer"
side = "left"
sessions = 2
claim = "closer than Tansy"
[[cell]]
sensor = "Sorrel"
activity = "rowing ergometer"
side = "right"
sessions = 6
[[cell]]
sensor = "Tansy"
activity = "rowing ergometer"
sessions = 9
claim = "further off"
given_up = "the band broke"
[[cell]]
sensor = "Tansy"
activity = "kettlebell sets"
sessions = 3
"""


def plan_of(folder, text):
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return load_study_plan(path)


def test_cells_are_done_open_or_given_up(tmp_path):
    """Sessions count by sensor, activity and side; a reason gives a cell up that is not done."""
    plan = plan_of(tmp_path, HEAD.format(dated="2026-01-01") + CELLS)
    found = [(one.done, one.state) for one in filled_cells(plan, four_sessions())]
    assert found == [(2, State.DONE), (2, State.OPEN), (4, State.GIVEN_UP), (0, State.OPEN)]
    lines = " ".join(plan_lines(plan, four_sessions()))
    assert "Tansy in rowing ergometer: given up, 4 of 9 sessions (the band broke)" in lines


@pytest.mark.parametrize(("dated", "planned"), [("2026-02-02", True), ("2026-02-03", False)])
def test_what_was_decided_after_the_first_session_is_exploratory(tmp_path, dated, planned):
    """A plan speaks for what began on its day or later, and for what it expects something of."""
    plan = plan_of(tmp_path, HEAD.format(dated=dated) + CELLS)
    (sensors, *arms) = four_sessions().activities[0].comparisons
    assert is_planned(sensors, plan, four_sessions()) is planned
    assert not any(is_planned(one, plan, four_sessions()) for one in arms)
    text = " ".join(plan_lines(plan, four_sessions()))
    assert ("exploratory: Sorrel against Tansy" in text) is not planned
    without = plan_of(tmp_path, HEAD.format(dated=dated) + CELLS.replace("claim", "given_up", 1))
    assert not is_planned(sensors, without, four_sessions())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[study", "is not valid TOML"),
        (CELLS, "needs a table"),
        (HEAD.format(dated="2026-01-01"), "at least one"),
        (HEAD.format(dated="7") + CELLS, "must be a date"),
        (HEAD.format(dated="2026-01-01T07:00:00") + CELLS, "must be a date"),
        (
            HEAD.format(dated="2026-01-01").replace("six of each", " ") + CELLS,
            "when the study ends",
        ),
        (HEAD.format(dated="2026-01-01") + CELLS.replace("side", "arm"), "cell has no 'arm'"),
        (HEAD.format(dated="2026-01-01") + CELLS.replace("left", "up"), "must be left or right"),
        (HEAD.format(dated="2026-01-01") + CELLS.replace("= 2", "= 0"), "at least 1"),
        (HEAD.format(dated="2026-01-01") + CELLS.replace("= 2", "= true"), "a whole number"),
        (
            HEAD.format(dated="2026-01-01") + "[[cell]]\nsensor = 'A'\nsessions = 1",
            "needs activity",
        ),
        ("x = 1\n" + HEAD.format(dated="2026-01-01") + CELLS, "no table 'x'"),
        ("cell = [1]\n" + HEAD.format(dated="2026-01-01"), "must be a table"),
    ],
)
def test_a_plan_that_cannot_be_meant_is_refused(tmp_path, text, words):
    """The sentence names the file and the rule."""
    with pytest.raises(SidebeatError, match=re.escape(words)) as caught:
        plan_of(tmp_path, text)
    assert "plan.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_plan_is_refused(tmp_path):
    """A plan that is not there is one sentence, before anything is read."""
    with pytest.raises(SidebeatError, match="cannot be read"):
        load_study_plan(tmp_path / "none.toml")


def test_the_command_shows_the_plan_of_the_documents(tmp_path, capsys, monkeypatch):
    """The example in docs/commands.md is a plan; its cells stand in the output and in the JSON."""
    text = re.search(r"```toml\n(\[study\].*?)```", DOCS.read_text(encoding="utf-8"), re.DOTALL)
    path = tmp_path / "study.toml"
    path.write_text(text.group(1), encoding="utf-8")
    monkeypatch.setattr(command, "read", lambda *_, **__: four_sessions())
    assert entry.main(["study", "captures", "--plan", str(path)]) == 0
    assert "Sorrel in rowing ergometer, left: open, 2 of 6 sessions" in capsys.readouterr().out
    assert entry.main(["study", "captures", "--plan", str(path), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)["plan"]
    known = set(re.findall(r"`([a-z_]+)`", DOCS.read_text(encoding="utf-8")))
    assert {*plan, *plan["cells"][0], *plan["exploratory"][0]} <= known
