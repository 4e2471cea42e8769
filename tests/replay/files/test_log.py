"""Logs of notifications: every row becomes what the sensor sent, or is counted."""

from __future__ import annotations

import json
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.capture import Capture, check_capture
from replay.channels import decode
from replay.errors import ActivityFileError, ColumnsUnclear
from replay.event import FILE_HEART_RATE, HEART_RATE, LINK, NS_PER_S
from replay.files import TableOptions
from replay.files.log import log_columns, read_log
from replay.files.log_capture import planned_log_sensor, write_log
from replay.plan import Plan

HEADER = "device,time_s,hr_bpm,rr_ms,contact"


def log_of(folder, *rows, header=HEADER, options=None, name="log.csv"):
    path = folder / name
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return read_log(path, options or TableOptions())


def readings_of(log):
    return [(e.t_ns / NS_PER_S, e.sensor, decode(e.channel, e.payload)) for e in log.events()]


def only_counts(log, number=1):
    quiet = {"rows", "valid", "rr"}
    counts = log.sensors[number - 1].counts
    return {name: n for name, n in counts.items() if n and name not in quiet}


def test_rows_become_standard_payloads(tmp_path):
    """Heart rate, RR to the nearest 1/1024 s and contact are what the payload says again."""
    log = log_of(tmp_path, "A,0.25,61,813.9 811.1,1", "B,0.5,62,,", "A,1.25,300,,0")
    assert [sensor.label for sensor in log.sensors] == ["A", "B"]
    found = readings_of(log)
    assert [(t, n, r.mbpm, r.rr, r.contact) for t, n, r in found] == [
        (0.25, 1, 61_000, (round(0.8139 * 1024), round(0.8111 * 1024)), True),
        (0.5, 2, 62_000, (), None),
        (1.25, 1, 300_000, (), False),
    ]
    assert [event.payload for event in log.events()][1] == bytes((0x00, 62))
    assert log.duration_ns == 1_250_000_000


def test_decimals_are_kept_where_the_payload_allows(tmp_path):
    """Without RR and contact a fraction stays as it stood; beside them it is rounded; both said."""
    log = log_of(tmp_path, "A,0,61.25,,", "A,1,61.5,900,", "A,2,62.0,,1", "A,3,71.30000000000001,,")
    events = list(log.events())
    assert [event.channel for event in events] == [
        FILE_HEART_RATE, HEART_RATE, HEART_RATE, FILE_HEART_RATE,
    ]  # fmt: skip
    assert [r.mbpm for *_, r in readings_of(log)] == [61_250, 62_000, 62_000, 71_300]
    assert only_counts(log) == {"fractional": 2, "rounded": 1}


@pytest.mark.parametrize(
    ("row", "counts"),
    [
        ("A,soon,60,,", {"no_time": 1}),
        ("A,,60,,", {"no_time": 1}),
        ("A,1,,,", {"no_heart_rate": 1}),
        ("A,1,sixty,,", {"no_heart_rate": 1}),
        ("A,1,-5,,", {"no_heart_rate": 1}),
        ("A,1,70000,,", {"no_heart_rate": 1}),
        ("A,1,,812 x 70000,", {"beats_only": 1, "zero": 1, "no_rr": 2}),
        ("A,1,nan,812,1", {"beats_only": 1, "zero": 1}),
        ("A,1,0,,", {"zero": 1}),
        ("A,1,241,,", {"out_of_range": 1}),
        ("A,1,70,,0", {"without_contact": 1}),
        ("A,1,70,,maybe", {"no_contact_bit": 1}),
        ("A,0,70,,1", {"duplicated": 1}),
        ("A,0,71,,1", {"conflicting": 1}),
        ("A,-1,70,,1", {"unordered": 1}),
    ],
)
def test_whatever_a_row_lacks_is_counted_and_said(tmp_path, row, counts):
    """Each way in which a row falls short has its own count and its own sentence."""
    log = log_of(tmp_path, "A,0,70,,1", row, options=TableOptions(time_format="elapsed"))
    assert only_counts(log) == counts
    assert log.sensors[0].counts["rows"] == 2
    named = set(counts)
    assert len(log.sensors[0].sentences()) == len(named)


def test_rows_of_no_sensor_and_of_another_width_are_counted(tmp_path):
    """A row without a name, and one with more cells than the header, are told for the whole."""
    log = log_of(tmp_path, "A,0,70,,1", ",1,70,,1", "A,2,70,,1,more", "A,3,70")
    assert (log.rows, log.unnamed, log.broken) == (4, 1, 1)
    assert len(log.t_ns) == 2
    assert sum("dropped" in remark for remark in log.remarks) == 2


def test_one_sensor_after_the_other_is_no_disorder(tmp_path):
    """Sensors written one below the other are merged in time; only a step back of one counts."""
    log = log_of(tmp_path, "A,0,70,,", "A,1,70,,", "B,0.5,80,,", "B,1.5,80,,", "B,1.2,81,,")
    assert [n for _, n, _ in readings_of(log)] == [1, 2, 1, 2, 2]
    assert (only_counts(log, 1), only_counts(log, 2)) == ({}, {"unordered": 1})


def test_what_is_sorted_is_what_was_written(tmp_path):
    """Events come in order of time whatever the order of rows."""
    log = log_of(tmp_path, "A,9,79,,", "A,3,73,,", "A,6,76,,")
    assert [(t, r.bpm) for t, _, r in readings_of(log)] == [(3, 73), (6, 76), (9, 79)]


def test_json_lines_and_raw_payloads(tmp_path):
    """The same keys as JSON, lists for RR, truth values for contact, payloads in hexadecimal."""
    lines = [
        {"device": "A", "time_s": 0.25, "hr_bpm": 61, "rr_ms": [813.9, 811.1], "contact": True},
        {"device": "A", "time_s": 1.25, "payload": "16 3d 01 04"},
        {"device": "B", "time_s": 1.5, "hr_bpm": 70, "payload_hex": None},
        {"device": "B", "time_s": 2.5, "hr_bpm": 70, "payload": "zz"},
        {"device": "B", "time_s": 3.5, "payload": "00"},
    ]
    path = tmp_path / "log.jsonl"
    path.write_text("\n".join(map(json.dumps, lines)) + "\n{broken\n[1]\n")
    log = read_log(path, TableOptions())
    found = readings_of_whole(log)
    assert [(r.mbpm, r.rr, r.contact) for r in found] == [
        (61_000, (833, 831), True), (61_000, (1025,), True), (70_000, (), None),
        (70_000, (), None),
    ]  # fmt: skip
    assert only_counts(log, 2) == {"no_payload": 1, "malformed": 1}
    assert (log.kind, log.broken) == ("JSON lines", 2)


def readings_of_whole(log):
    return [decode(e.channel, e.payload) for e in log.events() if len(e.payload) > 1]


def test_unix_times_give_the_date(tmp_path):
    """Times since 1970 date the session at their first whole second; small ones do not."""
    log = log_of(tmp_path, "A,1772608500.25,70,,", "A,1772608501.25,70,,")
    assert log.started_utc_ns == 1_772_608_500 * NS_PER_S
    assert log.t_ns.tolist() == [250_000_000, 1_250_000_000]
    log = log_of(tmp_path, "A,5,70,,", "A,6,70,,")
    assert (log.started_utc_ns, log.t_ns.tolist()) == (None, [5 * NS_PER_S, 6 * NS_PER_S])
    log = log_of(tmp_path, "A,5000.5,70,,", "A,5001,70,,")
    assert (log.origin_ns, log.t_ns.tolist()) == (5000 * NS_PER_S, [NS_PER_S // 2, NS_PER_S])
    options = TableOptions(start="2026-03-04T07:15:00Z")
    log = log_of(tmp_path, "A,5000.5,70,,", "A,5001,70,,", options=options)
    assert log.started_utc_ns == (1_772_608_500 + 5000) * NS_PER_S


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("", ActivityFileError, "the file is empty"),
        (f"{HEADER}\n", ActivityFileError, "none of its 0 rows"),
        (f"{HEADER}\nA,x,,,\n", ColumnsUnclear, "what the times mean is not clear"),
        ("sensorium,time_s,hr_bpm\nA,1,60\n", ColumnsUnclear, "--device-column"),
        ("device,when,hr_bpm\nA,1,60\n", ColumnsUnclear, "--time-column"),
        ("device,time_s,value\nA,1,60\n", ColumnsUnclear, "--bpm-column"),
        (f"{HEADER}\nA,1,60,,\nA,2332801,60,,\n", ActivityFileError, "27.0 days"),
        (
            "\n".join([HEADER, *(f"S{n},{n},60,," for n in range(40))]),
            ActivityFileError,
            "more than 32 different sensors",
        ),
    ],
)
def test_what_is_no_log_is_refused(tmp_path, text, error, words):
    """Each is refused in one sentence that names what to do."""
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(error, match=words):
        read_log(path, TableOptions())


def test_a_table_of_one_series_is_no_log(tmp_path):
    """Only a column with a sensor's usual name makes a table look like a log."""
    path = tmp_path / "a.csv"
    path.write_text("time,hr\n1,60\n")
    assert log_columns(path) == ("", ())
    path.write_text(f"{HEADER}\nA,1,60,,\nB,1,60,,\n")
    assert log_columns(path) == ("device", ("A", "B"))


def test_the_capture_holds_the_log(tmp_path):
    """The file is whole and closed, ends with the last notification, each link up from its first;
    the note has the counts.
    """
    log = log_of(tmp_path, *(f"A,{s},70,857,1" for s in range(30)), "B,20,71,,", "B,20,71,,")
    sensors = tuple(
        planned_log_sensor(log, s, label=s.label, role=role, placement="", firmware="")
        for s, role in zip(log.sensors, ("reference", "test"), strict=True)
    )
    target = tmp_path / "new.sqlite"
    write_log(target, Plan(wearer="W1", activity="rest", sensors=sensors), log, software="test")
    assert check_capture(target).whole
    with Capture.open(target) as capture:
        assert (capture.clean, capture.duration_ns) == (True, 29 * NS_PER_S)
        links = [(e.t_ns, e.sensor) for e in capture.events() if e.channel == LINK]
        assert links == [(0, 1), (20 * NS_PER_S, 2)]
        assert [s.on_capture_clock for s in capture.plan.sensors] == [True, True]
        note = capture.notes()[1].body
        assert (note["rows"], note["duplicated"], note["alignment"]) == (2, 1, "one clock")


ROW = st.tuples(
    st.sampled_from(["A", "B", ""]),
    st.sampled_from(["0", "1", "1.5", "2", "x", "", "-3", "1e1"]),
    st.sampled_from(["60", "61.5", "0", "999", "70000", "", "?", "-1"]),
    st.sampled_from(["", "812", "812 x", "70000", "900 910 920"]),
    st.sampled_from(["", "0", "1", "2"]),
)


@given(st.lists(ROW, min_size=1, max_size=30))
def test_no_row_is_lost_without_a_word(tmp_path_factory, rows):
    """Rows in = notifications out + everything dropped, of whatever kind; times never decrease."""
    folder = tmp_path_factory.mktemp("log")
    rows.append(("A", "0", "60", "", "1"))  # one that can be read: else the file is refused
    log = log_of(
        folder, *(",".join(row) for row in rows), options=TableOptions(time_format="elapsed")
    )
    total = Counter()
    for sensor in log.sensors:
        total.update(sensor.counts)
    dropped = total["no_time"] + total["no_heart_rate"] + total["duplicated"]
    assert len(rows) == log.rows == len(log.t_ns) + dropped + log.unnamed + log.broken
    kinds = ("valid", "zero", "without_contact", "out_of_range", "malformed")
    assert sum(total[name] for name in kinds) == len(log.t_ns)
    assert all(a <= b for a, b in zip(log.t_ns.tolist(), log.t_ns.tolist()[1:], strict=False))
    assert len(list(log.events())) == len(log.t_ns)


@pytest.mark.parametrize("begun", ["A,1,60,,1", '{"device": "A"}'])
def test_a_line_without_an_end_is_not_held(tmp_path, begun):
    """One that is longer than a row can be is refused, in a table as in JSON lines."""
    header = HEADER if begun.startswith("A") else begun
    with pytest.raises(ActivityFileError, match="a line of more than"):
        log_of(tmp_path, *[begun] * 3, "x" * 1_000_000, header=header)


def test_a_header_with_too_long_a_name_is_refused_in_a_sentence(tmp_path):
    """Whoever asks for the columns of a file is told so too."""
    path = tmp_path / "wide.csv"
    path.write_text("time,hr" + ";" * 200_000 + "\n1,60\n", encoding="utf-8")
    path.write_text("time,hr," + "x" * 200_000 + "\n1,60\n", encoding="utf-8")
    with pytest.raises(ActivityFileError, match="field larger than"):
        log_columns(path)
