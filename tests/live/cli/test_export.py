"""``sidebeat export``: the tables, their dictionary, and that they say what the analysis says."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import pytest

from analysis.report.export.dictionary import TABLES, dictionary_json, dictionary_page
from live import __main__ as entry
from replay.capture import Capture, CaptureWriter
from replay.demo_files import demo_captures
from replay.event import NS_PER_S
from tests.standins.feeds import two_sensors, written
from tests.test_docs import undocumented

NEEDS = ("pyarrow",)  # imported by what is called

ROOT = Path(__file__).resolve().parents[3]
ROWING = demo_captures()[0]
LENGTH_S = 480
"""With an effort, a warning, and a stretch that is left out for the reference."""
FORMATS = ("csv", "parquet", "json")


def run(capsys, *arguments):
    status = entry.main(["export", *map(str, arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.fixture(scope="module")
def capture(tmp_path_factory):
    """The first minutes of the rowing recording, with an exclusion that the tester drew."""
    path = tmp_path_factory.mktemp("capture") / "rowing.sqlite"
    end_ns = LENGTH_S * NS_PER_S
    with Capture.open(ROWING) as rowing:
        started = rowing.started_utc_ns
        writer = CaptureWriter(path, rowing.plan, started_utc_ns=started, software="test")
        for event in rowing.events():
            if event.t_ns < end_ns:
                writer.append(event)
    writer.close(t_ns=end_ns, reason="stopped")
    with Capture.open(path) as opened:
        opened.add_note("exclusion", from_ns=0, to_ns=60 * NS_PER_S, sensor=2, reason="put on late")
    return path


@pytest.fixture(scope="module")
def folders(capture, tmp_path_factory):
    """All tables of it in each format."""
    folder = tmp_path_factory.mktemp("tables")
    for form in FORMATS:
        assert (
            entry.main(["export", str(capture), "--out", str(folder / form), "--format", form]) == 0
        )
    return {form: folder / form for form in FORMATS}


def parquet():
    """Another reader of that format."""
    import pyarrow.parquet

    return pyarrow.parquet


def rows_of(folders, form, table):
    """The rows as plain values, typed as the dictionary says."""
    path = folders[form] / f"{table}.{form}"
    if form == "parquet":
        return parquet().read_table(path).to_pylist()
    if form == "json":
        return json.loads(path.read_text(encoding="utf-8"))
    kinds = {column.name: column.kind for column in TABLES[table].columns}
    read = {"int": int, "float": float, "bool": lambda text: text == "true", "text": str}
    with path.open(encoding="utf-8", newline="") as file:
        return [
            {
                name: None if text == "" else read.get(kinds[name], str)(text)
                for name, text in row.items()
            }
            for row in csv.DictReader(file)
        ]


@pytest.mark.parametrize("table", TABLES)
def test_the_formats_hold_the_same_values(folders, table):
    """CSV, Parquet and JSON of a table are the same rows, to the last digit."""
    every = [rows_of(folders, form, table) for form in FORMATS]
    times = {column.name for column in TABLES[table].columns if column.kind == "time"}
    for rows in every:
        for row in rows:
            for name in times:
                row[name] = str(row[name])[:19].replace("T", " ")
    assert every[0] == every[1] == every[2]
    assert every[0]


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("which", ["whole_session", "without_exclusions"])
def test_exported_pairs_reproduce_the_analysis(folders, capture, capsys, form, which):
    """From the pairs alone come the MAE, bias, share and number that `analyse` prints."""
    assert entry.main(["analyse", str(capture), "--json"]) == 0
    sensors = json.loads(capsys.readouterr().out)["sensors"]
    rows = rows_of(folders, form, "pairs")
    kept = (False, True) if which == "whole_session" else (False,)
    for sensor in sensors:
        mine = [r for r in rows if r["sensor"] == sensor["label"] and r["excluded"] in kept]
        told = sensor[which]
        differences = [row["difference_bpm"] for row in mine]
        assert len(mine) == told["pairs"]
        assert sum(map(abs, differences)) / len(mine) == pytest.approx(told["mae_bpm"], abs=1e-9)
        assert sum(differences) / len(mine) == pytest.approx(told["bias_bpm"], abs=1e-9)
        share = 100 * sum(row["within_tolerance"] for row in mine) / len(mine)
        assert share == pytest.approx(told["within_tolerance_percent"], abs=1e-9)


def test_exclusions_come_with_their_reasons(folders):
    """A pair that is left out says why, and one that is not says nothing."""
    rows = rows_of(folders, "csv", "pairs")
    assert all((row["reason"] is not None) == row["excluded"] for row in rows)
    sorrel = {row["reason"] for row in rows if row["sensor"] == "Sorrel" and row["excluded"]}
    bracken = {row["reason"] for row in rows if row["sensor"] == "Bracken" and row["excluded"]}
    assert "put on late" in sorrel
    assert "put on late" not in bracken
    assert any("reference" in reason for reason in bracken)


def test_notifications_are_the_events(folders, capture):
    """Every event stands in the export, byte for byte, at its nanosecond."""
    rows = rows_of(folders, "csv", "notifications")
    with Capture.open(capture) as opened:
        events = [(e.t_ns, e.sensor, e.channel, e.payload.hex()) for e in opened.events()]
    exported = [(r["t_ns"], r["sensor_number"], r["channel"], r["payload"] or "") for r in rows]
    assert exported == events
    assert rows[0]["utc"] == "2026-03-04T06:15:00.000000000Z"


def test_warnings_are_those_of_a_replay(folders, capture, capsys):
    """Kind, sensor and times of each warning are the ones that replay lists."""
    assert entry.main(["replay", str(capture), "--json"]) == 0
    known = json.loads(capsys.readouterr().out)["warnings"]
    keys = ("kind", "sensor", "since_s", "start_s", "end_s", "cause", "advice")
    rows = rows_of(folders, "json", "warnings")
    assert [[row[k] for k in keys] for row in rows] == [[w[k] for k in keys] for w in known]


def test_malformed_payloads_are_rows_with_their_problem(tmp_path, capsys):
    """What could not be read is in the export, without a bpm and with the reason."""
    events = two_sensors(30)
    bad = events[20]._replace(channel="2a37", payload=b"\x01")
    path = written(tmp_path / "c.sqlite", [*events[:20], bad, *events[21:]], end_s=30)
    status, _, _ = run(capsys, path, "--out", tmp_path / "t", "--what", "readings")
    assert status == 0
    (row,) = [r for r in rows_of({"csv": tmp_path / "t"}, "csv", "readings") if r["problem"]]
    assert (row["bpm"], row["valid"]) == (None, False)


@pytest.mark.parametrize("form", FORMATS)
def test_a_session_without_pairs_is_exported(tmp_path, capsys, form):
    """Empty tables keep their columns in every format."""
    path = written(tmp_path / "c.sqlite", [], end_s=10)
    status, out, _ = run(capsys, path, "--out", tmp_path / "t", "--format", form)
    assert (status, "0 rows" in out) == (0, True)
    assert rows_of({form: tmp_path / "t"}, form, "pairs") == []
    if form == "parquet":
        names = parquet().read_schema(tmp_path / "t" / "pairs.parquet").names
        assert names == [column.name for column in TABLES["pairs"].columns]


def test_each_column_is_in_the_dictionary(folders):
    """The dictionary beside the tables names their columns, in order, and no other."""
    for form, folder in folders.items():
        told = json.loads((folder / "data_dictionary.json").read_text(encoding="utf-8"))
        assert told == dictionary_json()
        for table, facts in told["tables"].items():
            names = [column["name"] for column in facts["columns"]]
            if form == "parquet":
                assert parquet().read_schema(folder / f"{table}.parquet").names == names
            else:
                assert list(rows_of(folders, form, table)[0]) == names


def test_missing_values_are_where_the_dictionary_allows_them(folders):
    """A column without a word on missing values has none, also in Parquet's schema."""
    for table in TABLES.values():
        always = [column.name for column in table.columns if not column.missing]
        for row in rows_of(folders, "json", table.name):
            assert [name for name in always if row[name] is None] == []
        schema = parquet().read_schema(folders["parquet"] / f"{table.name}.parquet")
        assert [field.name for field in schema if not field.nullable] == always


def test_parquet_carries_units():
    """Units stand in the dictionary for every quantity."""
    for table in TABLES.values():
        for column in table.columns:
            if column.name.endswith(("_bpm", "_s", "_ms", "_ns", "_kj")):
                assert column.unit, column.name


def test_the_page_is_the_dictionary():
    """docs/data_dictionary.md is what `python -m analysis.report.export.dictionary` prints."""
    page = (ROOT / "docs" / "data_dictionary.md").read_text(encoding="utf-8")
    assert page == dictionary_page()


def test_session_facts_say_who_and_what(folders):
    """session.json names the wearer by code, the sensors, and that the data are invented."""
    facts = json.loads((folders["csv"] / "session.json").read_text(encoding="utf-8"))
    assert (facts["wearer"], facts["invented"], len(facts["sensors"])) == ("W1", True, 5)
    assert facts["sensors"][0]["sensor"] == "Yarrow"


def test_what_is_asked_for_is_written(capture, tmp_path, capsys):
    """--what limits the tables, and --json says what was written."""
    status, out, _ = run(
        capsys, capture, "--out", tmp_path, "--what", "warnings,pairs", "--format", "json", "--json"
    )
    facts = json.loads(out)
    assert (status, undocumented(facts, "export")) == (0, set())
    assert [table["table"] for table in facts["tables"]] == ["pairs", "warnings"]
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "data_dictionary.json", "pairs.json", "session.json", "warnings.json",
    ]  # fmt: skip


def test_invented_data_are_called_so(capture, tmp_path, capsys):
    """Whoever exports a demo recording is told that its data are invented."""
    _, out, _ = run(capsys, capture, "--out", tmp_path, "--what", "pairs")
    assert "INVENTED DATA" in out


def test_nothing_is_overwritten(capture, tmp_path, capsys):
    """If a file is there already, nothing at all is written."""
    (tmp_path / "warnings.csv").write_text("mine")
    status, out, err = run(capsys, capture, "--out", tmp_path)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert "exists already" in err
    assert [path.name for path in tmp_path.iterdir()] == ["warnings.csv"]


@pytest.mark.parametrize("what", ["everything", "", "pairs,all", "pairs;efforts"])
def test_unknown_tables_are_refused(capture, tmp_path, capsys, what):
    """Only the tables that exist, or all, can be asked for."""
    status, _, err = run(capsys, capture, "--out", tmp_path / "t", "--what", what)
    assert (status, "is not one of notifications, readings" in err) == (2, True)
    assert not (tmp_path / "t").exists()


def test_parquet_without_its_package_is_one_sentence(capture, tmp_path, capsys, monkeypatch):
    """Without the extra, the sentence says how to get it, and no file is left."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    status, _, err = run(capsys, capture, "--out", tmp_path / "t", "--format", "parquet")
    assert (status, "pip install 'sidebeat[files]'" in err) == (2, True)
    assert list((tmp_path / "t").iterdir()) == []


def test_a_place_that_cannot_be_written_is_one_sentence(capture, tmp_path, capsys):
    """A folder that is a file is refused in one sentence."""
    (tmp_path / "t").write_text("")
    status, _, err = run(capsys, capture, "--out", tmp_path / "t")
    assert (status, err.count("\n")) == (2, 1)
