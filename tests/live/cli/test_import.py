"""``sidebeat import``: files beside a capture and on their own, told, asked and refused."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.board import Board
from analysis.board.rules.registry import rules_for
from analysis.board.session_state import SessionState
from analysis.board.snapshot import WarningKind
from analysis.session.compute import compute_record
from analysis.session.load import load_session
from analysis.session.record import NOT_ONE_CLOCK
from analysis.statistics.efforts import Answer
from live import __main__ as entry
from live.cli import import_dialog
from replay.capture import Capture, CaptureWriter
from replay.event import HEART_RATE, LINK, NS_PER_S, Event
from replay.link_state import LinkState
from replay.plan import Plan, PlannedSensor
from tests.standins.activity_files import (
    START_S,
    csv_file,
    fit_file,
    gpx_file,
    heart_bpm,
    points,
    tcx_file,
)
from tests.test_docs import undocumented

NEEDS = ("fitdecode", "gpxpy")  # imported by what is called

SECONDS = 900


def run(capsys, *arguments):
    status = entry.main(["import", *map(str, arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


def facts_of(capsys, *arguments):
    status, out, err = run(capsys, *arguments, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """A capture of a strap and an arm sensor on the heart that the files show too."""
    path = tmp_path_factory.mktemp("recorded") / "stairs.sqlite"
    plan = Plan(
        wearer="W1",
        activity="stair climbing",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow"),
            PlannedSensor(label="Bracken", role="test", placement="upper arm", name="Bracken"),
        ),
    )
    writer = CaptureWriter(path, plan, started_utc_ns=START_S * NS_PER_S, software="test")
    for number in (1, 2):
        writer.append(Event(0, number, LINK, b"streaming"))
    for second in range(SECONDS):
        for number in (1, 2):
            bpm = heart_bpm(second - 0.1) + (number - 1) * (1 - second % 3)
            at = second * NS_PER_S + number * 100_000_000
            writer.append(Event(at, number, HEART_RATE, bytes((0x06, bpm))))
    writer.close(t_ns=SECONDS * NS_PER_S, reason="stopped by the tester")
    return path


@pytest.mark.parametrize(
    "case",
    [
        (fit_file, 1, 0, 0),
        (tcx_file, 1, 43, 0),
        (gpx_file, 5, 7200, -7200),
        (csv_file, 5, -3600 + 12, 3600),
    ],
)
def test_a_file_is_put_beside_a_capture(recorded, tmp_path, capsys, case):
    """Whatever the format, spacing and slip: aligned within 1 s, and said in facts and plan."""
    write, every, clock_s, slip_s = case
    path = write(tmp_path / "tansy.x", points(SECONDS, every=every, clock_s=clock_s))
    facts = facts_of(
        capsys, path, "--into", recorded, "--label", "Tansy", "--placement", "left wrist",
        "--out", tmp_path,
    )  # fmt: skip
    (sensor,) = facts["sensors"]
    assert sensor["offset_s"] == pytest.approx(-clock_s, abs=1)
    assert sensor["offset_s_interval"][0] - 0.5 <= -clock_s <= sensor["offset_s_interval"][1] + 0.5
    assert (sensor["alignment"], sensor["slip_s"], sensor["number"]) == ("estimated", slip_s, 3)
    assert sensor["hold_s"] == (3 if every == 1 else 6)
    with Capture.open(Path(facts["capture"])) as capture:
        assert capture.plan.sensor(3).offset_s == pytest.approx(sensor["offset_s"])
        assert capture.plan.sensor(3).placement == "left wrist"
        data = load_session(capture)
    agree = abs(data.sensors[3].grid - data.reference.grid)[10 : SECONDS - 60]
    assert agree.mean() < 2000 * max(1, every / 3)


def test_every_key_is_documented(recorded, tmp_path, capsys):
    """Each key of the facts stands in the documentation, beside a capture and alone."""
    path = fit_file(tmp_path / "tansy.fit", points(SECONDS))
    facts = facts_of(capsys, path, "--into", recorded, "--out", tmp_path)
    assert undocumented(facts, "import") == set()
    other = csv_file(tmp_path / "sorrel.csv", points(SECONDS))
    facts = facts_of(
        capsys, path, other, "--wearer", "W1", "--activity", "stairs", "--out", tmp_path
    )
    assert undocumented(facts, "import") == set()


def test_people_read_sentences(recorded, tmp_path, capsys):
    """Dropped rows, spacing, offset, the slip's name and the missing delay are told."""
    rows = [*points(SECONDS, every=5, clock_s=3600), *[(None, "100")] * 12]
    path = csv_file(tmp_path / "tansy.csv", rows)
    status, out, err = run(capsys, path, "--into", recorded, "--out", tmp_path / "new")
    assert (status, err) == (0, "")
    for words in (
        "12 rows dropped: no time.",
        "A value every 5 s: each is held for up to 6 s.",
        "are added to its times (95 % interval",
        "1 h ahead: most likely a slip of daylight saving",
        "no delay is given for this sensor",
        "Written to",
    ):
        assert words in out


def test_an_offset_by_hand_counts(recorded, tmp_path, capsys):
    """What the tester sets is taken as it is, and stored as set by hand."""
    path = csv_file(tmp_path / "tansy.csv", points(SECONDS, clock_s=100))
    facts = facts_of(
        capsys, path, "--into", recorded, "--offset-s", "-97.5", "--out", tmp_path / "new"
    )
    (sensor,) = facts["sensors"]
    assert (sensor["offset_s"], sensor["alignment"]) == (-97.5, "by hand")
    with Capture.open(Path(facts["capture"])) as capture:
        assert capture.notes()[-1].body["alignment"] == "by hand"


def test_a_steady_file_keeps_its_own_time(tmp_path, capsys):
    """Where nothing changes, nothing is aligned: UTC as it is, and said."""
    rows = [(START_S + second, str(120 + second % 3)) for second in range(900)]
    one, two = csv_file(tmp_path / "a.csv", rows), csv_file(tmp_path / "b.csv", rows)
    facts = facts_of(
        capsys, one, two, "--wearer", "W1", "--activity", "steady", "--out", tmp_path / "new"
    )
    sensor = facts["sensors"][1]
    assert (sensor["offset_s"], sensor["alignment"]) == (0, "as recorded")
    assert "changed too little" in sensor["problem"]
    assert "Its own times are taken as they are." in sensor["said"]


def test_no_delay_is_claimed_of_a_file(recorded, tmp_path, capsys):
    """Neither the analysis nor the live rules say how late a file's sensor is."""
    late = [(time + 0.0, str(heart_bpm(time - START_S - 15))) for time, _ in points(SECONDS)]
    path = fit_file(tmp_path / "tansy.fit", late)
    facts = facts_of(capsys, path, "--into", recorded, "--offset-s", "0", "--out", tmp_path / "new")
    with Capture.open(Path(facts["capture"])) as capture:
        bracken, tansy = compute_record(load_session(capture)).sensors
        board = Board(capture.plan)
        for event in capture.events():
            board.feed(event)
        board.finish(capture.duration_ns)
    assert bracken.delay.value is not None
    assert (tansy.delay.value, tansy.delay.caution) == (None, NOT_ONE_CLOCK)
    assert tansy.without_delay is None
    assert tansy.responses
    assert all(response.delay_s is None for response in tansy.responses)
    assert all(response.answer is not Answer.LATE for response in tansy.responses)
    never = {WarningKind.LATE, WarningKind.NOT_STARTED, WarningKind.SILENT, WarningKind.THINNING}
    assert [w for w in board.warnings if w.sensor == 3 and w.kind in never] == []


def test_rules_about_links_and_delays_leave_files_alone():
    """A sensor from a file has no rule about its link or its delay; the others have theirs."""
    file = {"source": "file", "file": "tansy.fit", "alignment": "estimated"}
    plan = Plan(
        wearer="W1",
        activity="stairs",
        sensors=(
            PlannedSensor(label="Yarrow", role="reference", name="Yarrow"),
            PlannedSensor(label="Bracken", role="test", name="Bracken"),
            PlannedSensor(label="Tansy", role="test", **file),
        ),
    )
    rules = rules_for(SessionState(plan))
    of_link = {
        WarningKind.LATE, WarningKind.NOT_STARTED, WarningKind.SILENT, WarningKind.THINNING,
        WarningKind.WEAK_SIGNAL, WarningKind.LOW_BATTERY, WarningKind.SWAPPED_LABELS,
    }  # fmt: skip
    kinds = {number: {rule.kind for rule in rules if rule.sensor == number} for number in (2, 3)}
    assert kinds[2] - kinds[3] == of_link
    assert WarningKind.APART in kinds[3]


def test_with_a_file_as_reference_no_delay_is_claimed_of_anyone(recorded, tmp_path, capsys):
    """Against a reference that was aligned, the recorded sensors have no delay either."""
    path = fit_file(tmp_path / "tansy.fit", points(SECONDS, clock_s=5))
    facts = facts_of(
        capsys, path, "--into", recorded, "--role", "reference", "--out", tmp_path / "new"
    )
    assert facts["remarks"] == ["Yarrow was the reference; in the new capture it is a test sensor."]
    with Capture.open(Path(facts["capture"])) as capture:
        sensors = compute_record(load_session(capture)).sensors
    assert [one.label for one in sensors] == ["Yarrow", "Bracken"]
    assert {one.delay.caution for one in sensors} == {NOT_ONE_CLOCK}


def test_files_alone_are_analysed(tmp_path, capsys):
    """Two files make a session of their own, spanned by the reference, ready for the analysis."""
    strap = fit_file(tmp_path / "strap.fit", points(SECONDS))
    watch = tcx_file(tmp_path / "watch.tcx", points(SECONDS + 600, first_s=-300, clock_s=-20))
    facts = facts_of(
        capsys, watch, strap, "--role", "test", "--role", "reference", "--label", "Sorrel",
        "--label", "Yarrow", "--wearer", "W2", "--activity", "stairs", "--out", tmp_path / "new",
    )  # fmt: skip
    assert (facts["started_utc"], facts["duration_s"]) == ("2026-03-04T07:15:00.000Z", SECONDS - 1)
    sorrel = facts["sensors"][0]
    assert sorrel["offset_s"] == pytest.approx(20, abs=0.5)
    assert (sorrel["outside"], sorrel["readings"]) == (600, SECONDS)
    assert entry.main(["analyse", facts["capture"], "--json"]) == 0
    (result,) = json.loads(capsys.readouterr().out)["sensors"]
    assert result["whole_session"]["mae_bpm"] < 1


def test_a_sensor_from_a_file_has_no_link_that_is_waited_for():
    """The board tells a sensor that came from a file from one whose link is still to come."""
    sensors = (
        PlannedSensor(label="Yarrow", role="reference", name="Yarrow"),
        PlannedSensor(
            label="Sorrel",
            role="test",
            source="file",
            file="watch.csv",
            alignment="by hand",
            sha256="0" * 64,
            offset_s=1.0,
        ),
    )
    plan = Plan(wearer="W1", activity="rowing ergometer", sensors=sensors)
    links = [sensor.link for sensor in Board(plan).snapshot().sensors]
    assert links == [LinkState.WAITING, LinkState.FILE]


def test_elapsed_times_are_placed_by_their_shape(recorded, tmp_path, capsys):
    """A table whose times count from its start is set where its changes are the reference's."""
    lines = [f"{second},{heart_bpm(second + 200)}" for second in range(SECONDS - 300)]
    path = tmp_path / "tansy.csv"
    path.write_text("elapsed,hr\n" + "\n".join(lines))
    facts = facts_of(capsys, path, "--into", recorded, "--out", tmp_path / "new")
    (sensor,) = facts["sensors"]
    assert sensor["offset_s"] == pytest.approx(200, abs=1)


@pytest.mark.parametrize(
    ("extra", "sentence"),
    [
        (["--label", "A", "--label", "B"], "--label is given 2 time(s) for 1 file(s)"),
        (["--offset-s", "soon"], "--offset-s must be a number of seconds, or auto"),
        (["--offset-s", "nan"], "--offset-s must be a number of seconds, or auto"),
        (["--wearer", "W1"], "--wearer is that of the capture given with --into"),
        (["--label", "Yarrow"], "must be unique"),
        (["--bpm-column", "Puls"], "there is no column 'Puls'"),
        (["--unit", "mph"], "there are bpm, Hz, ms, s"),
        (["--timezone", "Mars/Olympus"], "is not known here"),
    ],
)
def test_what_cannot_be_is_one_sentence(recorded, tmp_path, capsys, extra, sentence):
    """Each impossible request is refused in one sentence, status 2, and nothing is written."""
    path = tmp_path / "tansy.csv"
    path.write_text("time,hr\n" + "".join(f"2026-03-04 07:15:{s:02},1{s:02}\n" for s in range(60)))
    out = tmp_path / "new"
    status, told, err = run(capsys, path, "--into", recorded, "--out", out, *extra)
    assert (status, told, err.count("\n")) == (2, "", 1)
    assert sentence in err
    assert not out.exists() or list(out.iterdir()) == []


@pytest.mark.parametrize(
    ("extra", "sentence"),
    [
        (["--activity", "stairs"], "needs --wearer"),
        (["--wearer", "W1"], "needs --activity"),
        (
            ["--wearer", "W1", "--activity", "x", "--role", "test", "--role", "test"],
            "exactly one file must be the reference",
        ),
        (["--wearer", "Jo Average", "--activity", "x"], "must be a short code"),
    ],
)
def test_a_session_of_files_needs_its_facts(tmp_path, capsys, extra, sentence):
    """Without a capture, wearer, activity and one reference must be known."""
    one, two = (csv_file(tmp_path / name, points(400)) for name in ("a.csv", "b.csv"))
    status, _, err = run(capsys, one, two, "--out", tmp_path / "new", *extra)
    assert (status, err.count("\n"), sentence in err) == (2, 1, True)


def test_elapsed_times_need_no_start(tmp_path, capsys):
    """A session of files whose times count from their start has no date, unless --start says it."""
    path = tmp_path / "a.csv"
    path.write_text("elapsed,hr\n" + "".join(f"{s},{heart_bpm(s)}\n" for s in range(400)))
    extra = ["--wearer", "W1", "--activity", "x", "--out", tmp_path / "new"]
    facts = facts_of(capsys, path, *extra)
    assert (facts["started_utc"], facts["duration_s"]) == (None, 399)
    assert Path(facts["capture"]).name == "a_x_W1.sqlite"
    facts = facts_of(capsys, path, *extra, "--start", "2026-03-04T07:15:00Z")
    assert facts["started_utc"] == "2026-03-04T07:15:00.000Z"


def test_a_session_without_a_date_has_none_in_its_exports(tmp_path, capsys):
    """Its tables tell the time since it began, and no UTC; whatever its first elapsed time is."""
    path = tmp_path / "a.csv"
    path.write_text("elapsed,hr\n" + "".join(f"{s},{heart_bpm(s)}\n" for s in range(7, 400)))
    extra = ["--wearer", "W1", "--activity", "x", "--out", tmp_path / "new"]
    capture = facts_of(capsys, path, *extra)["capture"]
    for kind in ("csv", "json"):
        out = tmp_path / kind
        assert entry.main(["export", capture, "--out", str(out), "--format", kind]) == 0
        assert "1970" not in capsys.readouterr().out
        assert all("1970-" not in file.read_text(encoding="utf-8") for file in out.iterdir())
    first = json.loads((tmp_path / "json" / "readings.json").read_text(encoding="utf-8"))[0]
    assert (first["t_ns"], first["utc"]) == (0, None)
    assert entry.main(["analyse", capture, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["started_utc"] is None


def test_elapsed_times_of_one_clock_keep_to_each_other(tmp_path, capsys):
    """Two files that one clock stamped, in seconds since its start, are not shifted, whichever
    begins first.
    """
    for name, first in (("strap", 5), ("watch", 0)):
        rows = "".join(f"{s},{heart_bpm(s)}\n" for s in range(first, 700))
        (tmp_path / f"{name}.csv").write_text("elapsed,hr\n" + rows)
    facts = facts_of(
        capsys, tmp_path / "strap.csv", tmp_path / "watch.csv", "--wearer", "W1",
        "--activity", "x", "--one-clock", "--out", tmp_path / "new",
    )  # fmt: skip
    assert entry.main(["analyse", facts["capture"], "--json"]) == 0
    (watch,) = json.loads(capsys.readouterr().out)["sensors"]
    assert watch["whole_session"]["mae_bpm"] == 0


def test_a_dated_file_finds_its_place_in_a_session_without_a_date(tmp_path, capsys):
    """It is placed by what both hold; that one clock stamped them is refused in a sentence."""
    strap = tmp_path / "strap.csv"
    strap.write_text("elapsed,hr\n" + "".join(f"{s},{heart_bpm(s)}\n" for s in range(SECONDS)))
    watch = fit_file(tmp_path / "watch.fit", points(SECONDS - 300, first_s=200))
    extra = [strap, watch, "--wearer", "W1", "--activity", "x", "--out", tmp_path / "new"]
    facts = facts_of(capsys, *extra)
    assert facts["sensors"][1]["offset_s"] == pytest.approx(200, abs=0.5)
    assert facts["started_utc"] is None
    status, _, err = run(capsys, *extra, "--one-clock")
    assert (status, err.count("\n"), "--start says when" in err) == (2, 1, True)


def test_unclear_columns_are_asked_for(recorded, tmp_path, capsys, monkeypatch):
    """At a terminal, columns and unit are asked for one by one; wrong answers are asked again."""
    path = tmp_path / "tansy.csv"
    rows = "".join(f"{START_S + s},{60000 / heart_bpm(s):.1f},x\n" for s in range(900))
    path.write_text("Clock,Beat,Note\n" + rows)
    monkeypatch.setattr(import_dialog, "can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO("9\n1\n\nBeat\nfurlong\nms\n"))
    status, out, err = run(capsys, path, "--into", recorded, "--out", tmp_path / "new")
    assert status == 0
    assert "1  Clock: " in err
    assert 'next time without questions: --time-column "Clock" --bpm-column "Beat" --unit "ms"' in (
        out
    )
    assert "are added to its times" in out


def test_date_and_time_apart_are_answered_as_a_sum(recorded, tmp_path, capsys, monkeypatch):
    """Two columns that make the time together are chosen as 1+2."""
    path = tmp_path / "tansy.csv"
    moments = [datetime.fromtimestamp(START_S + s, tz=UTC) for s in range(900)]
    rows = "".join(f"{m:%d.%m.%y};{m:%H:%M:%S};{heart_bpm(s):.1f}\n" for s, m in enumerate(moments))
    path.write_text("Tag A;Uhr B;Schlag\n" + rows)
    monkeypatch.setattr(import_dialog, "can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO("1+9\n1 + 2\n3\nbpm\n%d.%m.%y %H:%M:%S\n"))
    status, out, err = run(capsys, path, "--into", recorded, "--out", tmp_path / "new",
                           "--timezone", "UTC")  # fmt: skip
    assert status == 0, err
    assert '--time-column "Tag A+Uhr B"' in out


def test_values_that_cannot_be_a_heart_rate_are_counted(recorded, tmp_path, capsys):
    """How many of how many are named; they are kept in the capture, and not compared."""
    path = tmp_path / "tansy.csv"
    beats = [0 if s % 10 == 0 else round(heart_bpm(s)) for s in range(900)]
    rows = "".join(f"{START_S + s},{bpm}\n" for s, bpm in enumerate(beats))
    path.write_text("time,bpm\n" + rows)
    extra = (path, "--into", recorded, "--time-format", "unix-s")
    status, out, err = run(capsys, *extra, "--out", tmp_path / "new")
    assert status == 0, err
    assert "90 of 900 values cannot be a heart rate of 25 to 240 bpm (in bpm)" in out
    (sensor,) = facts_of(capsys, *extra, "--out", tmp_path / "again")["sensors"]
    assert (sensor["impossible"], sensor["values"]) == (90, 900)


def test_questions_that_nobody_answers_end_it(recorded, tmp_path, capsys, monkeypatch):
    """If the input ends before the answer, one sentence says that nothing was done."""
    path = tmp_path / "tansy.csv"
    path.write_text("Clock,Puls\n1,2\n3,4\n")
    monkeypatch.setattr(import_dialog, "can_ask", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    status, _, err = run(capsys, path, "--into", recorded, "--out", tmp_path / "new")
    assert (status, "were not answered; nothing was done" in err) == (2, True)


def test_json_asks_nothing(recorded, tmp_path, capsys, monkeypatch):
    """With --json an unclear column is an error, also at a terminal."""
    path = tmp_path / "tansy.csv"
    path.write_text("Clock,Puls\n1,2\n3,4\n")
    monkeypatch.setattr(import_dialog, "can_ask", lambda: True)
    status, out, err = run(capsys, path, "--into", recorded, "--json")
    assert (status, out, "--time-column" in err) == (2, "", True)


def test_a_plan_with_a_file_cannot_be_recorded(tmp_path, capsys):
    """The plan of an imported capture is not one for a live session."""
    path = tmp_path / "plan.toml"
    path.write_text(
        '[session]\nwearer = "W1"\nactivity = "x"\n[[sensor]]\nlabel = "A"\nrole = "reference"\n'
        'source = "file"\nfile = "a.fit"\nalignment = "by hand"\n'
    )
    assert entry.main(["live", "--plan", str(path), "--practice", "--json"]) == 2
    assert "bring its file in afterwards with 'sidebeat import'" in capsys.readouterr().err
