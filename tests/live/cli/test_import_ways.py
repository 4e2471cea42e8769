"""``sidebeat import``: archives, folders, what lies beside a file, sections, languages."""

from __future__ import annotations

import gzip
import json
import time
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from live import __main__ as entry
from replay.capture import Capture
from replay.event import NS_PER_S
from tests.standins.activity_files import START_S, csv_file, heart_bpm, iso, points
from tests.standins.importing import ALONE, analysed, facts_of, run


def test_archives_and_folders_are_opened(tmp_path, capsys):
    """A .gz is its file, a .zip and a folder are the activity files in them."""
    (tmp_path / "in").mkdir()
    strap = csv_file(tmp_path / "in" / "a_strap.csv", points(700))
    watch = csv_file(tmp_path / "watch.csv", points(700))
    (tmp_path / "in" / "b_watch.csv.gz").write_bytes(gzip.compress(watch.read_bytes()))
    (tmp_path / "in" / "notes.txt").write_text("not an activity")
    facts = facts_of(capsys, tmp_path / "in", *ALONE, "--out", tmp_path / "new")
    assert [s["label"] for s in facts["sensors"]] == ["a_strap", "b_watch"]
    assert facts["sensors"][1]["file"] == "b_watch.csv"
    with zipfile.ZipFile(tmp_path / "both.zip", "w") as archive:
        archive.write(strap, "x/strap.csv")
        archive.write(watch, "../watch.csv")
        archive.writestr("readme.md", "no")
    facts = facts_of(capsys, tmp_path / "both.zip", *ALONE, "--out", tmp_path / "zip.sqlite")
    assert sorted(s["label"] for s in facts["sensors"]) == ["strap", "watch"]
    assert facts["capture"] == str(tmp_path / "zip.sqlite")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: p.with_suffix(".gz").write_bytes(b"\x1f\x8bbroken"), "cannot be unpacked"),
        (lambda p: p.with_suffix(".zip").write_bytes(b"PK\x03\x04broken"), "cannot be unpacked"),
        (lambda p: zipfile.ZipFile(p.with_suffix(".zip"), "w").close(), "no activity file is in"),
        (lambda p: p.with_suffix(".csv").mkdir(), "no activity file lies in this folder"),
    ],
)
def test_broken_archives_are_one_sentence(tmp_path, capsys, make, words):
    """What cannot be unpacked, or holds nothing, is said in one sentence."""
    make(tmp_path / "a")
    (path,) = tmp_path.iterdir()
    status, out, err = run(capsys, path, *ALONE, "--out", tmp_path / "new")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert words in err


def test_what_lies_beside_a_file_counts_for_it_alone(tmp_path, capsys):
    """FILE.toml gives columns, unit, label and placement of its file; options come before it."""
    strap = csv_file(tmp_path / "strap.csv", points(700))
    watch = tmp_path / "watch.csv"
    lines = [f"{iso(START_S + s)},{60 / heart_bpm(s):.5f},9" for s in range(700)]
    watch.write_text("when,beat,hr\n" + "\n".join(lines))
    (tmp_path / "watch.csv.toml").write_text(
        'time_column = "when"\nbpm_column = "beat"\nunit = "s"\nlabel = "Sorrel"\n'
        'placement = "left wrist"\noffset_s = 0\n'
    )
    facts = facts_of(capsys, strap, watch, *ALONE, "--out", tmp_path / "new")
    sorrel = facts["sensors"][1]
    assert (sorrel["label"], sorrel["placement"], sorrel["unit"]) == ("Sorrel", "left wrist", "s")
    assert sorrel["alignment"] == "by hand"
    result = analysed(capsys, facts["capture"])["sensors"][0]
    assert result["whole_session"]["mae_bpm"] < 0.1
    facts = facts_of(
        capsys, strap, watch, *ALONE, "--label", "A", "--label", "B", "--out", tmp_path / "b"
    )
    assert facts["sensors"][1]["label"] == "B"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("label = 3", "label must be a text"),
        ('offset_s = "3"', "offset_s must be a number"),
        ('colour = "red"', "colour is none of"),
        ('role = "king"', "role must be test or reference"),
        ("label =", "is not valid TOML"),
    ],
)
def test_a_wrong_file_beside_is_one_sentence(tmp_path, capsys, text, words):
    """It is named, with what must hold."""
    strap = csv_file(tmp_path / "strap.csv", points(400))
    (tmp_path / "strap.csv.toml").write_text(text)
    status, out, err = run(capsys, strap, *ALONE, "--out", tmp_path / "new")
    assert (status, out, err.count("\n"), words in err) == (2, "", 1, True)


def test_equal_names_get_free_labels(tmp_path, capsys):
    """Two files of one name are two sensors."""
    for folder in ("one", "two", "three"):
        (tmp_path / folder).mkdir()
    files = [csv_file(tmp_path / f / "hr.csv", points(400)) for f in ("one", "two", "three")]
    facts = facts_of(capsys, *files, *ALONE, "--out", tmp_path / "new")
    assert [s["label"] for s in facts["sensors"]] == ["hr", "hr 2", "hr 3"]


@pytest.mark.parametrize("unit", ["ms", "Hz", "s"])
def test_a_unit_without_a_valid_value_writes_nothing(tmp_path, capsys, unit):
    """If no value is a heart rate in this unit, that is an error before anything is written."""
    path = csv_file(tmp_path / "a.csv", [(START_S + s, "0.001") for s in range(60)])
    if unit == "ms":
        path = csv_file(tmp_path / "a.csv", [(START_S + s, "70") for s in range(60)])
    status, out, err = run(capsys, path, *ALONE, "--unit", unit, "--out", tmp_path / "new")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert "none of its 60 values is a heart rate" in err
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("header", "known"),
    [
        ("Zeit;Herzfrequenz (bpm)", True), ("Uhrzeit;Puls", True),
        ("temps;fréquence cardiaque", True),
        ("Tiempo;Frecuencia cardíaca", True), ("tempo;frequenza cardiaca", True),
        ("tijd;hartslag", True), ("Tid;Hjärtfrekvens", True), ("aika;syke", True),
        ("czas;tętno", True), ("время;пульс", True), ("时间;心率", True), ("時刻;心拍数", True),
        ("시간;심박수", True), ("quando;quanto", False),
    ],
)  # fmt: skip
def test_columns_are_known_in_several_languages(tmp_path, capsys, header, known):
    """Usual words for time and heart rate need no options; other words are asked for."""
    path = tmp_path / "a.csv"
    path.write_text(
        header + "\n" + "".join(f"{iso(START_S + s)};{heart_bpm(s)}\n" for s in range(60)),
        encoding="utf-8",
    )
    status, _, err = run(capsys, path, *ALONE, "--out", tmp_path / "new")
    assert (status, "--time-column" in err) == ((0, False) if known else (2, True))


def test_pauses_of_a_device_are_no_faults_of_the_reference(tmp_path, capsys):
    """Stretches without any record raise no warning; records without a heart rate still do."""
    paused = [p for p in points(900) if not any(a < p[0] - START_S < a + 60 for a in (300, 700))]
    strap = csv_file(tmp_path / "strap.csv", paused)
    watch = csv_file(tmp_path / "watch.csv", points(900))
    facts = facts_of(capsys, strap, watch, *ALONE, "--one-clock", "--out", tmp_path / "a.sqlite")
    assert entry.main(["replay", facts["capture"], "--json"]) == 0
    kinds = [w["kind"] for w in json.loads(capsys.readouterr().out)["warnings"]]
    assert "reference lost" not in kinds
    lost = [(t, None if 300 < t - START_S < 360 else v) for t, v in points(900)]
    strap = csv_file(tmp_path / "strap.csv", lost)
    facts = facts_of(capsys, strap, watch, *ALONE, "--one-clock", "--out", tmp_path / "b.sqlite")
    assert entry.main(["replay", facts["capture"], "--json"]) == 0
    kinds = [w["kind"] for w in json.loads(capsys.readouterr().out)["warnings"]]
    assert "reference lost" in kinds


def test_a_file_of_27_days_is_refused_soon(tmp_path, capsys):
    """Days on end are no session: said in a sentence, and beside a session only what lies in it
    counts.
    """
    days = csv_file(tmp_path / "days.csv", [(START_S - 10**6 + 300 * n, "70") for n in range(7800)])
    begun = time.process_time()
    status, _, err = run(capsys, days, *ALONE, "--out", tmp_path / "new")
    assert (status, err.count("\n"), "27.1 days" in err) == (2, 1, True)
    assert time.process_time() - begun < 10  # it is 1 s; a grid of the whole would take minutes


@pytest.mark.parametrize("suffix", [".csv", ".toml"])
def test_sections_are_kept(tmp_path, capsys, suffix):
    """Sections of a table or a TOML file are notes of the capture, and can be undone."""
    path = tmp_path / f"sections{suffix}"
    path.write_text(
        "from_s,to_s,name\n0,300,warm-up\n300,600.5,climb\n"
        if suffix == ".csv"
        else '[[section]]\nfrom_s = 0\nto_s = 300\nname = "warm-up"\n'
        '[[section]]\nfrom_s = 300\nto_s = 600.5\nname = "climb"\n'
    )
    strap = csv_file(tmp_path / "strap.csv", points(700))
    facts = facts_of(
        capsys, strap, *ALONE, "--sections", path, "--out", tmp_path / f"a{suffix}.sqlite"
    )
    with Capture.open(Path(facts["capture"])) as capture:
        sections = capture.effective_notes.sections
        assert [(s.from_ns, s.to_ns, s.text) for s in sections] == [
            (0, 300 * NS_PER_S, "warm-up"), (300 * NS_PER_S, 600_500_000_000, "climb"),
        ]  # fmt: skip
        capture.add_note("undo", note=capture.notes()[-1].number)
        assert len(capture.effective_notes.sections) == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("from_s,to_s,name\n", "no section stands in it"),
        ("from_s,to_s,name\n300,200,x\n", "must begin at 0 s or later"),
        ("from_s,to_s,name\n0,2000,x\n", "lie in the session (699 s)"),
        ("from_s,to_s,name\n0,soon,x\n", "must begin at 0 s or later"),
        ("from_s,name\n0,x\n", "section 1 has no to_s"),
    ],
)
def test_wrong_sections_are_one_sentence(tmp_path, capsys, text, words):
    """Each wrong section is named, and nothing is written."""
    path = tmp_path / "sections.csv"
    path.write_text(text)
    strap = csv_file(tmp_path / "strap.csv", points(700))
    status, out, err = run(
        capsys, strap, *ALONE, "--sections", path, "--out", tmp_path / "new.sqlite"
    )
    assert (status, out, err.count("\n"), words in err) == (2, "", 1, True)
    assert not (tmp_path / "new.sqlite").exists()


OPTIONS = st.lists(
    st.sampled_from(
        [
            ("--label", "A"), ("--label", ""), ("--label", "é ∆"), ("--role", "test"),
            ("--role", "reference"), ("--placement", "wrist"), ("--firmware", "1"),
            ("--offset-s", "auto"), ("--offset-s", "3.5"), ("--offset-s", "inf"),
            ("--time-column", "time"), ("--time-column", "hr+hr"), ("--time-column", "nope"),
            ("--bpm-column", "hr"), ("--bpm-column", "time"), ("--unit", "ms"), ("--unit", "s"),
            ("--unit", "x"), ("--timezone", "Europe/Oslo"), ("--timezone", "../x"),
            ("--timezone", "+99:00"), ("--time-format", "elapsed"), ("--time-format", "%q"),
            ("--time-format", "unix-ms"), ("--start", "2026-03-04T07:15:00Z"), ("--start", "x"),
            ("--one-clock",), ("--device-column", "hr"), ("--device-column", "device"),
            ("--reference", "A"), ("--wearer", "W1"), ("--wearer", "a b"), ("--activity", "x"),
            ("--activity", ""), ("--sections", "nowhere.csv"),
        ]
    ),
    max_size=8,
)  # fmt: skip
CONTENT = st.sampled_from(
    [
        "time,hr\n" + "".join(f"2026-03-04 07:{m:02}:{s:02},{90 + s}\n" for m in range(6)
                              for s in range(0, 60, 3)),
        "time,hr\n1,90\n2,91\n", "device,time_s,hr_bpm\nA,1,60\nB,2,61\n", "time;hr\n1;9,5\n2;9\n",
        "", "hr\n", "\0\1\2",
        '{"device":"A","time_s":1,"hr_bpm":60}\n', "<gpx/>", "time,hr\n,\n,\n",
    ]
)  # fmt: skip


@settings(
    max_examples=80, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(content=CONTENT, options=OPTIONS, files=st.integers(1, 2))
def test_any_options_make_a_capture_or_one_sentence(
    tmp_path_factory, capsys, content, options, files
):
    """Whatever is given: a capture that is whole, or one sentence, status 2 and nothing written."""
    folder = tmp_path_factory.mktemp("fuzz")
    paths = []
    for number in range(files):
        path = folder / f"{number}.csv"
        path.write_text(content, encoding="utf-8")
        paths.append(path)
    out = folder / "new"
    words = [word for option in options for word in option]
    status, told, err = run(capsys, *paths, *words, "--out", out, "--json")
    made = list(out.glob("*")) if out.exists() else []
    if status == 0:
        assert [str(path) for path in made] == [json.loads(told)["capture"]]
        assert entry.main(["check", str(made[0]), "--json"]) == 0
        capsys.readouterr()
    else:
        assert (status, told, err.count("\n"), made) == (2, "", 1, [])
