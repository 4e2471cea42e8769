"""A manifest: what it says, in either form, and that all that is wrong with it is told at once."""

from __future__ import annotations

import pytest

from analysis.study.manifest import ManifestError, load_manifest
from replay.errors import SidebeatError

HEAD = "reference,file,label,placement,wearer,activity,firmware,algorithm,offset_s,one_clock\n"
GOOD = (
    HEAD + "strap1.csv,watch1.csv,Sorrel,left wrist,W1,rowing ergometer,5.1,2,,\n"
    "strap1.csv,arm1.csv,Bracken,right upper arm,W1,rowing ergometer,1.0,,-3.5,\n"
    "strap2.csv,watch2.csv,Sorrel,left wrist,W2,rowing ergometer,,3,auto,yes\n"
)


@pytest.fixture
def folder(tmp_path):
    """The files that the manifest names; what is in them is of no concern to it."""
    for name in ("strap1", "strap2", "watch1", "watch2", "arm1"):
        (tmp_path / f"{name}.csv").write_text("time,bpm\n", encoding="utf-8")
    return tmp_path


def written(folder, text, name="years.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_rows_with_one_reference_are_one_session(folder):
    """Files are relative to the manifest; firmware and algorithm are one word; offsets are kept."""
    first, second = load_manifest(written(folder, GOOD))
    assert (first.wearer, first.activity) == ("W1", "rowing ergometer")
    assert first.reference == folder / "strap1.csv"
    assert [pair.file.name for pair in first.pairs] == ["watch1.csv", "arm1.csv"]
    assert [pair.firmware for pair in first.pairs] == ["5.1, algorithm 2", "1.0"]
    assert [pair.offset_s for pair in first.pairs] == [None, -3.5]
    assert second.pairs[0].firmware == "algorithm 3"
    assert (first.one_clock, second.one_clock) == (False, True)
    assert first.reference_label == second.reference_label == "reference"


def test_toml_says_the_same_with_defaults(folder):
    """What most pairs have in common is said once, and a pair may say otherwise."""
    text = """
    [defaults]
    reference_label = "Yarrow"
    activity = "rowing ergometer"
    wearer = "W1"
    label = "Sorrel"
    placement = "left wrist"
    one_clock = true
    [[pair]]
    reference = "strap1.csv"
    file = "watch1.csv"
    offset_s = 2.5
    [[pair]]
    reference = "strap2.csv"
    file = "watch2.csv"
    wearer = "W2"
    """
    first, second = load_manifest(written(folder, text, "years.toml"))
    assert (first.wearer, second.wearer) == ("W1", "W2")
    assert (first.reference_label, first.one_clock) == ("Yarrow", True)
    assert first.pairs[0].offset_s == 2.5


def test_a_table_may_be_divided_by_semicolons(folder):
    """As spreadsheets of many languages write it, with a byte order mark."""
    path = folder / "years.csv"
    path.write_text(GOOD.replace(",", ";"), encoding="utf-8-sig")
    assert len(load_manifest(path)) == 2


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("nowhere.csv,watch2.csv,S,wrist,W1,rest,,,,", "there is no file nowhere.csv"),
        ("strap2.csv,lost.csv,S,wrist,W1,rest,,,,", "there is no file lost.csv"),
        ("strap2.csv,watch2.csv,,wrist,W1,rest,,,,", "has no label"),
        ("strap2.csv,watch2.csv,S,wrist,,rest,,,,", "has no wearer"),
        ("strap2.csv,watch2.csv,S,wrist,W1,rest,,,soon,", "offset_s must be a number"),
        ("strap2.csv,watch2.csv,S,wrist,W1,rest,,,nan,", "offset_s must be a number"),
        ("strap2.csv,watch2.csv,S,wrist,W1,rest,,,,maybe", "one_clock must be yes or no"),
        ("strap2.csv,watch1.csv,S,wrist,W1,rest,,,,", "watch1.csv stands in line 2 already"),
        ("strap2.csv,strap1.csv,S,wrist,W1,rest,,,,", "strap1.csv is the reference of a session"),
        ("strap1.csv,watch2.csv,S,wrist,W2,rowing ergometer,,,,", "wearer is 'W2', and 'W1' in"),
        ("strap1.csv,watch2.csv,S,wrist,W1,stairs,,,,", "activity is 'stairs'"),
        ("strap1.csv,watch2.csv,Sorrel,wrist,W1,rowing ergometer,,,,", "label 'Sorrel' is taken"),
        ("strap2.csv,watch2.csv,Reference,wrist,W1,rest,,,,", "label 'Reference' is taken"),
    ],
)
def test_each_thing_that_is_wrong_is_told_with_its_line(folder, line, told):
    """Before anything is imported, naming the manifest and the line."""
    text = "\n".join([*GOOD.splitlines()[:2], line]) + "\n"
    with pytest.raises(ManifestError) as raised:
        load_manifest(written(folder, text))
    (said,) = raised.value.problems
    assert said.startswith("line 3: ")
    assert told in said
    assert str(raised.value).endswith(f"years.csv: nothing was imported: {said}")


def test_all_that_is_wrong_is_told_at_once(folder):
    """Not the first thing alone."""
    bad = "".join(f"strap1.csv,lost{n}.csv,S{n},wrist,W1,rest,,,,\n" for n in range(30))
    with pytest.raises(ManifestError, match=r"\(and 29 problems more\)") as raised:
        load_manifest(written(folder, HEAD + bad))
    assert all(f"no file lost{n}.csv" in raised.value.problems[n] for n in range(30))
    assert len(raised.value.problems) == 30


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("a.csv", "", "no pair of files stands in it"),
        ("a.csv", HEAD, "no pair of files stands in it"),
        ("a.csv", "reference,file,colour\nstrap1.csv,watch1.csv,red\n", "column 'colour' is none"),
        ("a.toml", "[[pair]", "is not valid TOML"),
        ("a.toml", "[study]\nx = 1\n", "there is no 'study' in a manifest"),
        ("a.toml", "pair = 3\n", r"a pair is written as \[\[pair\]\]"),
        ("a.toml", "[defaults]\nwearer = 'W1'\n", "no pair of files stands in it"),
    ],
)
def test_what_is_no_manifest_is_refused_with_its_rule(folder, name, text, told):
    """One sentence each."""
    with pytest.raises(SidebeatError, match=told):
        load_manifest(written(folder, text, name))


def test_a_manifest_that_is_no_text_or_is_not_there_is_refused(folder):
    """By name."""
    (folder / "a.csv").write_bytes(b"\xff\xfe\x00\xd8")
    with pytest.raises(SidebeatError, match="cannot be read: it is no text"):
        load_manifest(folder / "a.csv")
    with pytest.raises(SidebeatError, match="cannot be read: No such file"):
        load_manifest(folder / "b.csv")
