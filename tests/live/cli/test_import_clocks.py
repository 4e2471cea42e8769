"""``sidebeat import``: whose clock is moved by what, what that allows to say, and one clock."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from live import __main__ as entry
from replay.capture import Capture
from replay.event import NS_PER_S
from tests.standins.activity_files import START_S, csv_file, heart_bpm, iso, points, tcx_file
from tests.standins.importing import ALONE, analysed, facts_of


def with_cadence(path, seconds, *, clock_s=0.0, first_s=0, bpm=heart_bpm, steps=1.0):
    """A table with the cadence of the wearer, which changes every half-minute."""
    rng = np.random.default_rng(7)
    cadence = 60 + 40 * np.repeat(rng.uniform(0, 1, 200), 30)
    lines = [
        f"{iso(START_S + s + clock_s)},{bpm(s)},{steps * cadence[s]:.1f}"
        for s in range(first_s, first_s + seconds)
    ]
    path.write_text("time,hr,cadence\n" + "\n".join(lines) + "\n")
    return path


def resting(second):
    """A sensor that follows one effort and sleeps through the others."""
    bpm = heart_bpm(second)
    return bpm if 1200 < second < 1400 else min(bpm, 112)


def test_most_efforts_missed_and_a_clock_37_s_off(tmp_path, capsys):
    """Begun late, clock off, most efforts missed: aligned within 1 s by the cadence, and by the
    heart alone not at all.
    """
    strap = with_cadence(tmp_path / "strap.csv", 2400, steps=2)
    watch = with_cadence(tmp_path / "watch.csv", 1800, clock_s=37, first_s=600, bpm=resting)
    facts = facts_of(capsys, strap, watch, *ALONE, "--out", tmp_path / "a.sqlite")
    sensor = facts["sensors"][1]
    assert (sensor["alignment"], sensor["aligned_by"]) == ("estimated", "cadence")
    assert sensor["offset_s"] == pytest.approx(-37, abs=1)
    bare = csv_file(
        tmp_path / "bare.csv",
        [(START_S + s + 37, str(resting(s))) for s in range(600, 2400)],
    )
    facts = facts_of(capsys, strap, bare, *ALONE, "--out", tmp_path / "b.sqlite")
    sensor = facts["sensors"][1]
    assert (sensor["alignment"], sensor["offset_s"], sensor["aligned_by"]) == (
        "as recorded",
        0,
        None,
    )
    assert any("Its clock cannot be aligned" in sentence for sentence in sensor["said"])
    with Capture.open(Path(facts["capture"])) as capture:
        assert [s.is_aligned for s in capture.plan.sensors] == [True, False]


def test_what_could_not_be_aligned_is_shown_and_not_compared(tmp_path, capsys):
    """No agreement, no efforts, no rank, no warning about its values; coverage, and the first line
    of the verdict says so.  The board has no agreement of it either.
    """
    strap = csv_file(tmp_path / "strap.csv", points(2400))
    late = csv_file(
        tmp_path / "late.csv", [(START_S + s + 37, str(resting(s))) for s in range(600, 2400)]
    )
    good = csv_file(tmp_path / "good.csv", points(2400))
    facts = facts_of(capsys, strap, late, good, *ALONE, "--out", tmp_path / "a.sqlite")
    result = analysed(capsys, facts["capture"])
    sensor, other = result["sensors"]
    assert result["verdict"][0].startswith("late was not compared: its clock cannot be aligned (")
    assert sensor["verdict"].startswith("late was not compared")
    assert (sensor["whole_session"]["pairs"], sensor["whole_session"]["mae_bpm"]) == (0, None)
    assert sensor["coverage_percent"] > 70
    assert sensor["efforts"]["followed"] == sensor["efforts"]["missed"] == 0
    assert result["closer"] == []
    assert other["whole_session"]["pairs"] > 2000
    assert [(c["sensor"], c["compared"]) for c in result["clocks"]] == [
        ("strap", True), ("late", False), ("good", True),
    ]  # fmt: skip
    assert entry.main(["replay", facts["capture"], "--json"]) == 0
    replayed = json.loads(capsys.readouterr().out)
    assert replayed["sensors"][1]["agreement"] == {}
    of_values = {"apart", "frozen", "late", "on cadence"}
    assert not [w for w in replayed["warnings"] if w["sensor"] == "late" and w["kind"] in of_values]


def test_a_clock_set_by_something_else_than_the_heart_shows_the_delay(tmp_path, capsys):
    """A sensor 6 s late on a clock 37 s off: by cadence the delay is told, with the doubt of the
    clock in its interval; by the heart alone it cannot be.
    """

    def late(second):
        return heart_bpm(second - 6)

    strap = with_cadence(tmp_path / "strap.csv", 1500)
    watch = with_cadence(tmp_path / "watch.csv", 1500, clock_s=37, bpm=late, steps=2)
    facts = facts_of(capsys, strap, watch, *ALONE, "--out", tmp_path / "a.sqlite")
    sensor = facts["sensors"][1]
    assert "The delay of this sensor can be told no better than that." in sensor["said"]
    clock_s = max(abs(end - sensor["offset_s"]) for end in sensor["offset_s_interval"])
    result = analysed(capsys, facts["capture"])["sensors"][0]
    assert result["delay_s"] == pytest.approx(6, abs=0.2)
    low, high = result["delay_s_interval"]
    assert low <= 6 <= high
    assert min(high - result["delay_s"], result["delay_s"] - low) >= clock_s - 1e-9
    assert "Its clock was set by cadence" in result["delay_caution"]
    bare = csv_file(tmp_path / "bare.csv", [(START_S + s + 37, str(late(s))) for s in range(1500)])
    facts = facts_of(capsys, strap, bare, *ALONE, "--out", tmp_path / "b.sqlite")
    result = analysed(capsys, facts["capture"])["sensors"][0]
    assert (result["delay_s"], result["without_delay"]) == (None, None)


def test_a_moved_clock_is_told_beside_the_headline(tmp_path, capsys):
    """Offset, doubt, by what, and what it did to the difference stand in the first sentence."""
    strap = with_cadence(tmp_path / "strap.csv", 1200)
    watch = with_cadence(tmp_path / "watch.csv", 1200, clock_s=37, steps=2)
    facts = facts_of(capsys, strap, watch, *ALONE, "--out", tmp_path / "a.sqlite")
    first = analysed(capsys, facts["capture"])["verdict"][0]
    assert first.startswith("watch's clock was moved by ")
    assert "37.0 s (95 % interval" in first
    assert "found by cadence; by that its mean absolute difference went from" in first


def test_statistics_by_section_and_at_own_readings(tmp_path, capsys):
    """Each section has its statistics; a sparse sensor those at its own readings' times besides."""
    sections = tmp_path / "sections.csv"
    sections.write_text("from_s,to_s,name\n0,600,warm-up\n600,1500,climb\n")
    strap = csv_file(tmp_path / "strap.csv", points(1500))
    sparse = csv_file(tmp_path / "sparse.csv", points(1500, every=10))
    facts = facts_of(
        capsys, strap, sparse, *ALONE, "--one-clock", "--sections", sections,
        "--out", tmp_path / "a.sqlite",
    )  # fmt: skip
    (sensor,) = analysed(capsys, facts["capture"])["sensors"]
    assert [(s["section"], s["seconds"]) for s in sensor["sections"]] == [
        ("warm-up", 600), ("climb", 900),
    ]  # fmt: skip
    assert sensor["at_readings"]["pairs"] == 150
    assert sensor["at_readings"]["mae_bpm"] == 0
    assert sensor["whole_session"]["mae_bpm"] > 1


def test_lap_presses_come_first(tmp_path, capsys):
    """Laps that both files hold at the same distances set their clocks, before the heart."""

    def laps(path, clock_s):
        presses = (0, 301, 488, 800, 1104)
        rows = points(1500, clock_s=clock_s)
        parts = []
        for begin, end in zip(presses, (*presses[1:], 1500), strict=True):
            track = tcx_file(tmp_path / "part.tcx", rows[begin:end]).read_text()
            track = track.split("<Track>")[1].split("</Track>")[0]
            stamp = iso(START_S + begin + clock_s)
            parts.append(f'<Lap StartTime="{stamp}"><Track>{track}</Track></Lap>')
        path.write_text(
            '<?xml version="1.0"?><TrainingCenterDatabase><Activities><Activity>'
            + "".join(parts)
            + "</Activity></Activities></TrainingCenterDatabase>"
        )
        return path

    strap, watch = laps(tmp_path / "strap.tcx", 0), laps(tmp_path / "watch.tcx", -12)
    facts = facts_of(capsys, strap, watch, *ALONE, "--out", tmp_path / "a.sqlite")
    sensor = facts["sensors"][1]
    assert (sensor["offset_s"], sensor["aligned_by"]) == (12, "lap presses and markers")
    assert sensor["laps"] == 5
    with Capture.open(Path(facts["capture"])) as capture:
        sections = capture.effective_notes.sections
        assert [(s.from_ns // NS_PER_S, s.text) for s in sections[:2]] == [
            (0, "lap 1"),
            (301, "lap 2"),
        ]


def test_one_clock_shifts_nothing_and_gives_a_delay(tmp_path, capsys):
    """Files of one computer stay where they are, and their sensors' delays are told."""
    strap = csv_file(tmp_path / "strap.csv", points(1500))
    late = csv_file(
        tmp_path / "late.csv", [(START_S + s, str(heart_bpm(s - 6))) for s in range(1500)]
    )
    facts = facts_of(capsys, strap, late, *ALONE, "--one-clock", "--out", tmp_path / "a.sqlite")
    assert [(s["alignment"], s["offset_s"]) for s in facts["sensors"]] == [("one clock", 0)] * 2
    with Capture.open(Path(facts["capture"])) as capture:
        one, two = capture.plan.sensors
        assert one.shares_clock(two)
    facts = facts_of(capsys, strap, late, *ALONE, "--out", tmp_path / "b.sqlite")
    with Capture.open(Path(facts["capture"])) as capture:
        one, two = capture.plan.sensors
        assert not one.shares_clock(two)
