"""Sessions with nothing to compare: each is analysed, reported and exported in plain words."""

from __future__ import annotations

import json
import re
import struct
from dataclasses import replace
from pathlib import Path

import pytest

from live import __main__ as entry
from tests.standins.feeds import PLAN, beat, two_sensors, written

NEEDS = ("jinja2", "matplotlib")  # imported by what is called

ALONE = replace(PLAN, sensors=PLAN.sensors[:1])


def run(capsys, *arguments):
    status = entry.main([*map(str, arguments)])
    said = capsys.readouterr()
    assert (status, said.err) == (0, "")
    return said.out


def told(capsys, file, folder):
    """Facts of the analysis, its text in one line, and the page; none with a number that is
    none.  The session is exported as well.
    """
    facts = json.loads(run(capsys, "analyse", file, "--json"))
    text = " ".join(run(capsys, "analyse", file).split())
    out = folder / "page.html"
    written_to = json.loads(run(capsys, "report", file, "--out", out, "--no-figures", "--json"))
    page = out.read_text(encoding="utf-8")
    assert re.search(r"\bnan\b|\bNone\b", text + page) is None
    assert written_to["verdict"] == facts["verdict"]
    assert "<svg" in page
    run(capsys, "export", file, "--out", folder / "tables", "--format", "csv")
    return facts, text, page


def is_of_one_alone(capsys, file, folder, label):
    """The one sentence of a session with one sensor stands in facts, text and page, and no
    table, figure or heading of a comparison beside it.
    """
    facts, text, page = told(capsys, file, folder)
    sentence = (
        f"{label} is the only sensor of this session: there is no test sensor to compare with it."
    )
    assert (facts["verdict"], facts["sensors"]) == ([sentence], [])
    assert sentence in text
    assert sentence in page
    assert f"{label} alone." in page
    for heading in ("Agreement", "Which sensor was closer", "By phase"):
        assert f">{heading}" not in page
    assert "inside tolerance" not in text
    assert page.count("<figure") == 1


def test_one_file_imported_alone(tmp_path, capsys):
    """An activity file without another: it is the reference, and there is nothing to compare."""
    file = tmp_path / "strap.csv"
    rows = [
        f"2026-03-04T07:{15 + second // 60:02}:{second % 60:02}Z,{110 + second // 7 % 40}"
        for second in range(300)
    ]
    file.write_text("\n".join(["time,bpm", *rows]) + "\n")
    capture = tmp_path / "strap.sqlite"
    run(capsys, "import", file, "--wearer", "W1", "--activity", "rest", "--out", capture, "--json")
    is_of_one_alone(capsys, capture, tmp_path, "strap")


def test_a_log_of_one_device(tmp_path, capsys):
    """A log of notifications that names one device."""
    file = tmp_path / "bench.csv"
    rows = [f"Yarrow,{second + 0.1:.1f},{100 + second // 3 % 20}" for second in range(300)]
    file.write_text("\n".join(["device,time_s,hr_bpm", *rows]) + "\n")
    capture = tmp_path / "bench.sqlite"
    run(
        capsys, "import", file, "--device-column", "device", "--reference", "Yarrow",
        "--wearer", "W1", "--activity", "rest", "--out", capture, "--json",
    )  # fmt: skip
    is_of_one_alone(capsys, capture, tmp_path, "Yarrow")


@pytest.mark.parametrize("seconds", [3, 600])
def test_a_capture_of_a_reference_alone(tmp_path, capsys, seconds):
    """A recorded session without a test sensor, of three seconds and of ten minutes."""
    events = [event for event in two_sensors(seconds) if event.sensor != 2]
    file = written(tmp_path / "a.sqlite", events, plan=ALONE, end_s=max(seconds, 6))
    is_of_one_alone(capsys, file, tmp_path, "Yarrow")


def test_figure_files_of_a_reference_alone(tmp_path, capsys):
    """Of a session without a test sensor the traces alone are drawn, for video and for print, in
    full and by two processes.  With --json, page and figures are named where they were asked for,
    and every one of them is there.
    """
    file = written(tmp_path / "a.sqlite", [beat(1, 1, 120)], plan=ALONE, end_s=3)
    out, pictures = tmp_path / "deep" / "page.html", tmp_path / "pictures"
    facts = json.loads(run(capsys, "report", file, "--out", out, "--figures", pictures, "--json"))
    assert (facts["page"], len(facts["figures"])) == (str(out), 5)
    assert all("_traces_" in Path(path).name for path in facts["figures"])
    assert {Path(path) for path in facts["figures"]} == set(pictures.iterdir())
    assert all(Path(path).stat().st_size > 1000 for path in [facts["page"], *facts["figures"]])
    for size in ("1920x1080", "3840x2160"):
        (picture,) = pictures.glob(f"*_{size}.png")
        told = struct.unpack(">II", picture.read_bytes()[16:24])
        assert told == tuple(map(int, size.split("x")))


def test_a_reference_alone_that_never_read(tmp_path, capsys):
    """One sensor and no reading: both are said."""
    file = written(tmp_path / "a.sqlite", [], plan=ALONE, end_s=60)
    facts, text, page = told(capsys, file, tmp_path)
    sentence = (
        "Yarrow is the only sensor of this session, and it never showed a valid heart rate: "
        "there is nothing to compare."
    )
    assert facts["verdict"] == [sentence]
    assert sentence in text
    assert sentence in page


def test_a_reference_that_never_read(tmp_path, capsys):
    """A test sensor beside a reference without one reading: why nothing is compared is said."""
    events = [event for event in two_sensors(300) if event.sensor != 1]
    file = written(tmp_path / "a.sqlite", events, end_s=300)
    facts, text, page = told(capsys, file, tmp_path)
    sentence = (
        "Nothing can be said of how close the sensors are, because Sorrel and Yarrow had no value "
        "at the same second."
    )
    assert facts["verdict"][0] == sentence
    assert sentence in text
    assert sentence in page
    assert facts["sensors"][0]["whole_session"]["pairs"] == 0
    assert page.count("<figure") == 4


def test_three_seconds_of_two_sensors(tmp_path, capsys):
    """Three seconds have means and no intervals, no delay and no effort."""
    events = [beat(second + 0.2, sensor, 118 + sensor) for second in range(3) for sensor in (1, 2)]
    file = written(tmp_path / "a.sqlite", events, end_s=3)
    facts, text, _ = told(capsys, file, tmp_path)
    whole = facts["sensors"][0]["whole_session"]
    assert (whole["bias_bpm"], whole["bias_bpm_interval"]) == (1.0, None)
    assert (facts["sensors"][0]["delay_s"], facts["efforts"]) == (None, [])
    assert "no interval can be given" in text
