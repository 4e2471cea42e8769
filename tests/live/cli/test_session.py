"""The commands about one capture: replay, analyse, check."""

from __future__ import annotations

import json
import logging

import pytest

from analysis.board import Board
from analysis.board.rules.levels import LowBattery
from live import __main__ as entry
from live.cli import replay as replay_command
from live.cli.agreement_tables import sentence
from replay.capture import Capture
from replay.demo_files import demo_captures
from tests.standins.demo_boards import played_board
from tests.standins.feeds import beat, two_sensors, written

ROWING = demo_captures()[0]


def run(capsys, *arguments):
    status = entry.main([*map(str, arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.fixture(scope="module")
def rowing_board():
    """The board after the rowing demo, played without any command."""
    return played_board(ROWING)


@pytest.fixture
def small(tmp_path):
    return written(tmp_path / "small.sqlite", two_sensors(120), end_s=120)


def test_replay_lists_the_warnings_of_the_board(rowing_board, capsys):
    """Replay's JSON has every warning of the board, with kind, sensor, start and end."""
    status, out, err = run(capsys, "replay", ROWING, "--speed", "max", "--view", "none", "--json")
    listed = [
        (w["kind"], w["sensor"], w["since_s"], w["start_s"], w["end_s"])
        for w in json.loads(out)["warnings"]
    ]
    plan = rowing_board.plan
    known = [
        (w.kind.value, plan.sensor(w.sensor).label, w.since_s, w.start_s, w.end_s)
        for w in rowing_board.warnings
    ]
    assert (status, listed, err) == (0, known, "")
    assert known


def test_live_and_offline_numbers_are_the_same(rowing_board, capsys):
    """The agreement at the end of a replay and that of the analysis are equal."""
    _, replayed, _ = run(capsys, "replay", ROWING, "--json")
    _, analysed, _ = run(capsys, "analyse", ROWING, "--json")
    live = {s["label"]: s["agreement"] for s in json.loads(replayed)["sensors"] if s["agreement"]}
    offline = {s["label"]: s["whole_session"] for s in json.loads(analysed)["sensors"]}
    keys = ("pairs", "bias_bpm", "mae_bpm", "within_tolerance_percent", "pearson_r")
    for label, agreement in live.items():
        session = agreement["session"]
        assert {k: session[k] for k in keys} == {k: offline[label][k] for k in keys}
    assert list(live) == ["Sorrel", "Tansy", "Bracken"]


def test_replay_without_a_view_prints_tables(small, capsys):
    """Without view and JSON, the last state, the agreement and the warnings are printed."""
    status, out, _ = run(capsys, "replay", small, "--view", "none")
    assert status == 0
    for words in ("small.sqlite", "agreement", "Sorrel", "No warning was raised."):
        assert words in out


def test_replay_refuses_two_claims_on_the_screen(small, capsys):
    """JSON and the terminal view cannot both have standard output."""
    status, out, err = run(capsys, "replay", small, "--json", "--view", "terminal")
    assert (status, out) == (2, "")
    assert "choose one" in err


@pytest.mark.parametrize("speed", ["0.1", "61", "fast", "nan", "inf"])
def test_replay_refuses_a_speed_out_of_range(small, capsys, speed):
    """Speeds other than 0.5 to 60 and max are refused, naming the range."""
    status, out, err = run(capsys, "replay", small, "--speed", speed)
    assert (status, out) == (2, "")
    assert "between 0.5 and 60, or be max" in err


def test_numbers_made_with_faults_are_not_passed_off_as_whole(small, capsys, monkeypatch):
    """If the board could not take events, replay says how many and exits with 1."""

    class Faulty(Board):
        def feed(self, event):
            if event.t_ns > 100e9:
                raise RuntimeError
            super().feed(event)

    monkeypatch.setattr(replay_command, "ViewModel", lambda feed: _model(feed, Faulty))
    status, _, err = run(capsys, "replay", small, "--json")
    assert status == 1
    assert "numbers are incomplete" in err


_model = replay_command.ViewModel


@pytest.mark.parametrize("command", ["replay", "analyse", "check"])
def test_what_is_no_capture_is_one_sentence(command, tmp_path, capsys):
    """A missing file and a file of another kind are refused in one sentence, status 2."""
    text = tmp_path / "notes.sqlite"
    text.write_text("not a capture, but long enough to look at " * 20)
    for path in (tmp_path / "none.sqlite", text):
        status, out, err = run(capsys, command, path, "--json")
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert path.name in err


def test_analyse_takes_the_reference_s_bad_stretches_out(rowing_board, capsys):
    """The reference's faults are listed as exclusions, and both results are given."""
    _, out, _ = run(capsys, "analyse", ROWING, "--json")
    facts = json.loads(out)
    seconds = {s for e in facts["exclusions"] for s in range(e["start_s"], e["end_s"])}
    dry = next(w for w in rowing_board.warnings if w.kind.value == "no contact")
    assert set(range(dry.since_s, dry.end_s)) <= seconds
    for sensor in facts["sensors"]:
        assert sensor["excluded_s"] == len(seconds)
        assert sensor["without_exclusions"]["pairs"] < sensor["whole_session"]["pairs"]


def test_analyse_without_faults_excludes_nothing(small, capsys):
    """On a clean session nothing is excluded, and that is said."""
    _, out, _ = run(capsys, "analyse", small, "--json")
    facts = json.loads(out)
    assert (facts["exclusions"], facts["sensors"][0]["without_exclusions"]) == ([], None)
    assert facts["sensors"][0]["whole_session"]["bias_bpm"] == pytest.approx(2, abs=0.5)
    _, text, _ = run(capsys, "analyse", small)
    assert "Excluded\n  nothing" in text


def test_replay_names_a_rule_that_failed(small, capsys, monkeypatch, caplog):
    """A rule that failed is one sentence on stderr and exit 1; the other numbers are printed."""
    monkeypatch.setattr(LowBattery, "step", lambda *_: 1 / 0)
    with caplog.at_level(logging.CRITICAL):
        status, out, err = run(capsys, "replay", small, "--json")
    assert status == 1
    assert "the rule for 'battery low' of Yarrow failed at 0 s and is switched off" in err
    assert json.loads(out)["sensors"]


def test_analyse_names_a_rule_that_failed(small, capsys, monkeypatch, caplog, tmp_path):
    """Tables and JSON of the analysis say which warnings are incomplete, and from when on."""
    monkeypatch.setenv("SIDEBEAT_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(LowBattery, "step", lambda *_: 1 / 0)
    with caplog.at_level(logging.CRITICAL):
        _, text, _ = run(capsys, "analyse", small)
        _, facts, _ = run(capsys, "analyse", small, "--json")
    said = " ".join(text.split())
    assert "Caution: The rule for “battery low” of Yarrow failed at 0:00 and was off" in said
    failed = json.loads(facts)["failed_rules"]
    assert [(one["kind"], one["sensor"]) for one in failed][:1] == [("battery low", "Yarrow")]


@pytest.mark.parametrize("ending", [".html", ".txt", ".json"])
def test_analyse_writes_what_the_ending_says(small, tmp_path, capsys, ending):
    """``--out`` writes page, text or JSON, in a folder made for it, and names the file."""
    target = tmp_path / "new" / f"report{ending}"
    status, out, _ = run(capsys, "analyse", small, "--out", target)
    written_text = target.read_text(encoding="utf-8")
    assert status == 0
    assert str(target) in out.replace("\n", "")
    assert "Sorrel" in written_text
    if ending == ".json":
        assert json.loads(written_text)["file"] == str(small)
    assert ("<html" in written_text) == (ending == ".html")
    assert "\x1b" not in written_text


def test_analyse_refuses_another_ending(small, tmp_path, capsys):
    """An ending that is not known is refused before anything is computed."""
    target = tmp_path / "report.docx"
    status, _, err = run(capsys, "analyse", small, "--out", target)
    assert (status, target.exists()) == (2, False)
    assert ".html, .txt, .json" in err


def test_analyse_says_when_it_cannot_write(small, tmp_path, capsys):
    """A report that cannot be written is one sentence and status 2."""
    (tmp_path / "file").write_text("")
    status, _, err = run(capsys, "analyse", small, "--out", tmp_path / "file" / "r.html")
    assert status == 2
    assert "cannot be written" in err


def test_the_sentence_says_no_more_than_the_interval(tmp_path):
    """A bias whose interval holds 0 is called no bias; without pairs there is no number."""
    from analysis.session.compute import compute_record
    from analysis.session.load import load_session

    def sentence_of(path):
        with Capture.open(path) as capture:
            result = compute_record(load_session(capture)).sensors[0]
        return result.whole, sentence("Sorrel", "Yarrow", result.whole)

    late, said = sentence_of(ROWING)
    low, high = late.bias.interval
    assert low < 0 < high
    assert "cannot be told from no bias" in said
    alone = [event for event in two_sensors(120) if event.sensor < 2]
    assert "never compared" in sentence_of(written(tmp_path / "a.sqlite", alone, end_s=120))[1]
    same = [beat(s + shift, n, 120) for s in range(120) for n, shift in ((1, 0.1), (2, 0.3))]
    assert "the same as Yarrow" in sentence_of(written(tmp_path / "s.sqlite", same, end_s=120))[1]


def test_check_of_a_whole_capture_is_0(small, capsys):
    """A whole, closed capture is called so, with status 0."""
    status, out, _ = run(capsys, "check", small)
    assert status == 0
    assert "whole, closed (stopped by the tester)" in out
    assert "Sorrel" in out


def test_check_of_an_unclosed_capture_says_so_and_is_3(tmp_path, capsys):
    """A capture that was never closed but is whole is called unclean, with a status of its own."""
    path = written(tmp_path / "u.sqlite", two_sensors(30))
    status, out, _ = run(capsys, "check", path)
    assert status == 3
    assert "unclean" in out


def test_check_of_a_damaged_capture_is_1_and_salvage_saves(tmp_path, capsys):
    """A cut capture is called damaged, status 1; salvage saves most, and never overwrites."""
    damaged, saved = tmp_path / "damaged.sqlite", tmp_path / "saved.sqlite"
    damaged.write_bytes(ROWING.read_bytes()[:-5000])
    status, out, _ = run(capsys, "check", damaged)
    assert status == 1
    assert "DAMAGED" in out
    status, out, _ = run(capsys, "check", damaged, "--salvage", saved)
    assert status == 0
    assert "events saved to" in out
    before = saved.read_bytes()
    status, out, err = run(capsys, "check", damaged, "--salvage", saved)
    assert (status, out, saved.read_bytes() == before) == (2, "", True)
    assert err.count("\n") == 1


def test_check_refuses_a_plan_without_salvage(small, capsys):
    """``--plan`` without ``--salvage`` is refused."""
    status, _, err = run(capsys, "check", small, "--plan", "x.toml")
    assert status == 2
    assert "--salvage" in err
