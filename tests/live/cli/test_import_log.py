"""``sidebeat import`` of a log of notifications: as a live session to rules and analysis."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from live import __main__ as entry
from live.cli import import_, import_dialog
from replay.capture import Capture
from tests.standins.activity_files import heart_bpm
from tests.test_docs import undocumented

SECONDS = 900


def run(capsys, *arguments):
    status = entry.main(["import", *map(str, arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.fixture
def log(tmp_path):
    """A strap, and a wrist sensor that is 4 s late and stops ten minutes in."""
    rows = ["device,time_s,hr_bpm,rr_ms,contact"]
    for second in range(SECONDS):
        bpm = heart_bpm(second)
        rows.append(f"Yarrow,{second + 0.1:.1f},{bpm},{60000 / bpm:.0f},1")
        if second < 600:
            rows.append(f"Sorrel,{second + 0.6:.1f},{heart_bpm(second - 4)},,")
    path = tmp_path / "bench.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


def options_for(tmp_path):
    return [
        "--device-column", "device", "--reference", "Yarrow", "--wearer", "W1",
        "--activity", "rest", "--out", tmp_path / "new",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("first_s", "start", "said"),
    [
        (
            0,
            "9999-12-31T23:59:59Z",
            "'9999-12-31T23:59:59Z' is in no year from 1824 to 2115",
        ),
        (0, "0001-01-01", "--start '0001-01-01' is in no year"),
        (4_000_000_000, "2100-01-01", "its times lie in no year from 1824 to 2115"),
    ],
)
def test_a_start_that_no_capture_can_hold_is_refused(first_s, start, said, tmp_path, capsys):
    """In one sentence, before anything is written."""
    path = tmp_path / "bench.csv"
    elapsed = ["--time-format", "elapsed"]
    rows = [f"Yarrow,{first_s + second},{heart_bpm(second)}" for second in range(60)]
    path.write_text("\n".join(["device,time_s,hr_bpm", *rows]) + "\n")
    status, out, err = run(capsys, path, *options_for(tmp_path), *elapsed, "--start", start)
    assert (status, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    assert not (tmp_path / "new").exists()


def test_a_log_is_a_session(log, tmp_path, capsys):
    """Replay warns of the sensor that fell silent; the analysis gives its delay."""
    placed = ["--placement", "Sorrel=left wrist", "--label", "Sorrel=Tansy"]
    status, out, err = run(capsys, log, *options_for(tmp_path), *placed, "--json")
    assert (status, err) == (0, "")
    facts = json.loads(out)
    assert undocumented(facts, "import") == set()
    assert facts["sensors"][1]["placement"] == "left wrist"
    assert (facts["started_utc"], facts["duration_s"]) == (None, SECONDS - 0.9)
    assert entry.main(["replay", facts["capture"], "--json"]) == 0
    warnings = json.loads(capsys.readouterr().out)["warnings"]
    (silent,) = [w for w in warnings if w["kind"] == "silent"]
    assert silent["sensor"] == "Tansy"
    assert silent["since_s"] in range(598, 602)
    assert entry.main(["analyse", facts["capture"], "--json"]) == 0
    (sensor,) = json.loads(capsys.readouterr().out)["sensors"]
    assert sensor["delay_s"] == pytest.approx(4, abs=0.6)


def test_people_are_told(log, tmp_path, capsys):
    """Without --json, sentences say what was read and where it went."""
    log.write_text(log.read_text() + "Sorrel,700,x,,\n")
    status, out, _ = run(capsys, log, *options_for(tmp_path))
    assert status == 0
    for words in ("Yarrow (reference), from bench.csv", "1 row dropped: no heart rate", "no date"):
        assert words in out


def test_a_session_that_nothing_dates_has_no_date_anywhere(log, tmp_path, capsys):
    """Neither facts nor sentences put it at the beginning of the computer's calendar."""
    pytest.importorskip("jinja2", reason="the page needs the extra report")
    from tests.standins.small_pictures import one_figure  # reads matplotlib

    status, out, _ = run(capsys, log, *options_for(tmp_path), "--json")
    assert status == 0
    capture = json.loads(out)["capture"]
    for command in ("check", "analyse", "replay"):
        assert entry.main([command, capture, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["started_utc"] is None
    assert entry.main(["check", capture]) == 0
    assert "Started at an unknown time" in capsys.readouterr().out
    page = tmp_path / "page.html"
    with one_figure():
        assert entry.main(["report", capture, "--out", str(page), "--no-figures"]) == 0
    text = page.read_text(encoding="utf-8")
    assert "date not known" in text
    assert "1970" not in text + capsys.readouterr().out


def test_the_output_can_be_named(log, tmp_path, capsys):
    """--out with the name of a file makes that file; a second one is not overwritten."""
    named = [*options_for(tmp_path)[:-1], tmp_path / "x" / "mine.sqlite"]
    assert run(capsys, log, *named)[0] == 0
    with Capture.open(tmp_path / "x" / "mine.sqlite") as capture:
        assert [s.label for s in capture.plan.sensors] == ["Yarrow", "Sorrel"]
    status, _, err = run(capsys, log, *named)
    assert (status, "exists already" in err) == (2, True)


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (["--reference", "Bracken"], "there are Yarrow, Sorrel"),
        (["--role", "test"], "--role does not go with a log"),
        (["--offset-s", "3"], "--offset-s does not go with a log"),
        (["--unit", "ms"], "--unit does not go with a log"),
        (["--placement", "left wrist"], "say DEVICE=TEXT"),
        (["--placement", "Sorrel=a", "--placement", "Sorrel=b"], "given twice for Sorrel"),
        (["--device-column", "sensor"], "there is no column 'sensor'"),
        (["--label", "Sorrel=Yarrow"], "must be unique"),
        (["--start", "soon"], "is not an ISO 8601 time"),
    ],
)
def test_what_cannot_be_is_one_sentence(log, tmp_path, capsys, extra, words):
    """Each is refused in one sentence, status 2, and nothing is written."""
    status, out, err = run(capsys, log, *options_for(tmp_path), *extra)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert words in err
    assert not list((tmp_path / "new").glob("*.sqlite"))


def test_several_sensors_are_not_mixed_into_one(log, tmp_path, capsys):
    """A log that nobody called one is not read as the series of one sensor."""
    extra = ["--wearer", "W1", "--activity", "x", "--out", tmp_path / "new"]
    status, _, err = run(capsys, log, *extra)
    assert (status, "say --device-column device" in err) == (2, True)
    status, _, err = run(capsys, log, "--reference", "Yarrow", *extra)
    assert (status, "say --device-column device" in err) == (2, True)


def test_at_a_terminal_it_is_asked(log, tmp_path, capsys, monkeypatch):
    """Where a file has such columns a person is asked, and for the reference too."""
    monkeypatch.setattr(import_dialog, "can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO("perhaps\nyes\nyarrow\nW1\nrest\n"))
    status, out, err = run(capsys, log, "--out", tmp_path / "new")
    assert status == 0
    assert "is it a log of notifications" in err
    (made,) = Path(tmp_path / "new").glob("*.sqlite")
    assert str(made) in out


def test_other_files_are_not_taken_for_logs(tmp_path):
    """Neither a FIT file nor a table of one series is asked about."""
    binary = tmp_path / "a.fit"
    binary.write_bytes(b"\x0e\x20\0\0\0\0\0\0.FIT")
    table = tmp_path / "a.csv"
    table.write_text("time,hr\n1,60\n")
    assert not import_.looks_like_log(binary, ask=True)
    assert not import_.looks_like_log(table, ask=True)
    assert not import_.looks_like_log(tmp_path / "none.csv", ask=True)
