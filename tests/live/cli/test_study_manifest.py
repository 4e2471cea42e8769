"""``sidebeat study MANIFEST``: files of years to a study, made once."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta

import pytest

from live import __main__ as entry

HEAD = "reference,file,label,placement,wearer,activity,firmware,one_clock\n"


def table(path, day, late=0.0, error=0.0):
    """An activity file: 12 min of a heart that rises and falls, every second."""
    start = datetime(2025, 3, day, 7, 0, tzinfo=UTC)
    lines = ["time,bpm"]
    for second in range(720):
        bpm = 120 + 30 * math.sin((second - late) / 50) + error * math.sin(second / 7)
        lines.append(f"{(start + timedelta(seconds=second)).isoformat()},{round(bpm)}")
    path.write_text("\n".join(lines), encoding="utf-8")


@pytest.fixture
def manifest(tmp_path):
    """Three days with a strap and a watch each; the last one's watch file holds no heart rate."""
    for day in (1, 2, 3):
        table(tmp_path / f"strap{day}.csv", day)
        table(tmp_path / f"watch{day}.csv", day, late=3.0, error=2.0)
    (tmp_path / "watch3.csv").write_text("time,bpm\n2025-03-03T07:00:00Z,\n", encoding="utf-8")
    rows = "".join(
        f"strap{day}.csv,watch{day}.csv,Sorrel,left wrist,W{day},stair climb,5.1,yes\n"
        for day in (1, 2, 3)
    )
    path = tmp_path / "years.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    return path


def test_a_manifest_is_imported_and_studied(manifest, capsys):
    """Sessions that can be imported count; one that cannot is one line, as any other."""
    assert entry.main(["study", str(manifest), "--json", "--jobs", "1"]) == 0
    told = capsys.readouterr()
    facts = json.loads(told.out)
    (sensor,) = facts["sensors"]
    assert (sensor["sensor"], sensor["firmware"], sensor["sessions"]) == ("Sorrel", "5.1", 2)
    assert {one["wearer"] for one in facts["sessions"]} == {"W1", "W2"}
    assert {one["started_utc"][:10] for one in facts["sessions"]} == {"2025-03-01", "2025-03-02"}
    (left,) = facts["left_out"]
    assert "watch3.csv" in left["reason"]
    assert told.err == f"sidebeat: left out: {left['reason']}\n"
    assert len(list(manifest.with_name("years_captures").glob("*.sqlite"))) == 2


def test_what_was_imported_is_not_imported_again(manifest, tmp_path, capsys):
    """Only a session whose files or words have changed is made anew, beside the old one."""
    command = ["study", str(manifest), "--json", "--captures", str(tmp_path / "c"), "--jobs", "1"]
    assert entry.main(command) == 0
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "c").iterdir()}
    assert entry.main(command) == 0
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "c").iterdir()} == before
    text = manifest.read_text(encoding="utf-8").replace("W2,stair climb,5.1", "W2,stair climb,5.2")
    manifest.write_text(text, encoding="utf-8")
    capsys.readouterr()
    assert entry.main(command) == 0
    assert len(list((tmp_path / "c").iterdir())) == 3
    facts = json.loads(capsys.readouterr().out)
    assert {one["firmware"] for one in facts["sensors"]} == {"5.1", "5.2"}
    assert len(facts["sessions"]) == 2


def test_a_wrong_manifest_imports_nothing(manifest, capsys):
    """A line for each thing that is wrong, another status than 0, and no folder made."""
    text = manifest.read_text(encoding="utf-8").replace("watch2.csv", "lost.csv")
    manifest.write_text(text.replace("watch3.csv", "gone.csv"), encoding="utf-8")
    assert entry.main(["study", str(manifest)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 2
    assert "line 4: there is no file gone.csv" in told[0]
    assert "nothing was imported: line 3: there is no file lost.csv" in told[1]
    assert not manifest.with_name("years_captures").exists()
