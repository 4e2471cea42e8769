"""``sidebeat import`` of a node's own capture: holes are filled, nothing is there twice."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.session.load import load_session
from live.cli.main import run
from replay.capture import Capture, CaptureWriter
from replay.capture.notes import CLOCK, Note
from replay.event import HEART_RATE, LINK, NS_PER_S, Event, Stamp
from replay.payloads import encode_heart_rate
from replay.plan import Plan, PlannedSensor
from tests.standins.feeds import PLAN

UUID = "01234567-89ab-cdef-0123-456789abcdef"
CLOCK_NAME = "node:attic/0123456789abcdef"
AHEAD_NS = 500 * NS_PER_S
SECONDS = 60
STARTED_UTC_NS = 1_772_604_900 * NS_PER_S
NODE = PlannedSensor(label="at the node", role="reference", name="Sorrel")
SESSION_PLAN = replace(
    PLAN, sensors=(PLAN.sensors[0], replace(PLAN.sensors[1], source="node", node="attic"))
)


def _there(second: int) -> Event:
    """As the node heard it: one in five payloads is equal to another, stamps never are."""
    payload = encode_heart_rate(100 + second % 5)
    return Event(AHEAD_NS + second * NS_PER_S + 250_000_000, 1, HEART_RATE, payload)


def _node(path: Path, uuid: str = UUID) -> Path:
    writer = CaptureWriter(
        path,
        Plan(wearer="W1", activity="node", sensors=(NODE,)),
        started_utc_ns=STARTED_UTC_NS - AHEAD_NS,
        software="test",
        session_uuid=uuid,
    )
    writer.append(Event(0, 1, LINK, b"streaming"))
    for second in range(-30, SECONDS + 30):
        writer.append(_there(second))
    writer.close(t_ns=AHEAD_NS + (SECONDS + 40) * NS_PER_S, reason="stopped")
    return path


def _session(path: Path, *, arrived: range, is_whole: bool = True) -> Path:
    """A session in which the seconds of ``arrived`` came over the network."""
    writer = CaptureWriter(path, SESSION_PLAN, started_utc_ns=STARTED_UTC_NS, software="test")
    events = [
        Event(n * NS_PER_S, 1, HEART_RATE, encode_heart_rate(100, contact=True))
        for n in range(SECONDS)
    ]
    for second in arrived:
        there = _there(second)
        stamp = Stamp(there.t_ns, CLOCK_NAME, -AHEAD_NS)
        events.append(
            Event(there.t_ns - AHEAD_NS + 30_000_000, 2, HEART_RATE, there.payload, stamp)
        )
    for event in sorted(events, key=lambda event: event.t_ns):
        writer.append(event)
    if not is_whole:
        writer.commit()
        writer.abandon()
        return path
    body = {
        "clock": CLOCK_NAME, "offset_ns": -AHEAD_NS, "drift_ppb": 0, "at_ns": 0,
        "bound_ns": 1_000_000,
    }  # fmt: skip
    writer.keep_notes([Note(1, STARTED_UTC_NS, CLOCK, body)])
    writer.close(t_ns=SECONDS * NS_PER_S, reason="stopped")
    return path


def _import(capsys: pytest.CaptureFixture[str], node: Path, into: Path) -> dict:
    status = run(["import", str(node), "--into", str(into), "--out", str(into.parent), "--json"])
    told = capsys.readouterr()
    assert status == 0, told.err
    return json.loads(told.out)


@pytest.mark.parametrize("is_whole", [True, False], ids=["closed", "cut off"])
def test_a_hole_is_filled_and_nothing_doubled(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], is_whole: bool
) -> None:
    """What arrived stays as it is; the rest comes at its time; a second import adds nothing."""
    node = _node(tmp_path / "node.sqlite")
    session = _session(tmp_path / "session.sqlite", arrived=range(20), is_whole=is_whole)
    facts = _import(capsys, node, session)
    (sensor,) = facts["sensors"]
    ends_s = SECONDS if is_whole else SECONDS - 1
    assert sensor == {"number": 2, "label": "Sorrel", "filled": ends_s - 20}
    assert facts["already_there"] == 20
    assert facts["outside"] == 60 + SECONDS - ends_s
    with Capture.open(Path(facts["capture"])) as capture:
        series = load_session(capture).sensors[2]
    assert series.t_ns.tolist() == [n * NS_PER_S + 250_000_000 for n in range(ends_s)]
    again = _import(capsys, node, Path(facts["capture"]))
    assert again["sensors"][0]["filled"] == 0
    assert again["already_there"] == ends_s


def test_a_capture_of_another_node_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence, and no file, where the UUID is not one that the session knows."""
    node = _node(tmp_path / "node.sqlite", "ffffffff-89ab-cdef-0123-456789abcdef")
    session = _session(tmp_path / "session.sqlite", arrived=range(20))
    before = sorted(tmp_path.iterdir())
    assert run(["import", str(node), "--into", str(session), "--out", str(tmp_path)]) == 2
    assert "not the capture of a node" in capsys.readouterr().err
    assert run(["import", str(node)]) == 2
    assert "--into" in capsys.readouterr().err
    assert sorted(tmp_path.iterdir()) == before
