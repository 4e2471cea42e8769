"""``sidebeat live`` with a plan that belongs to a study."""

from __future__ import annotations

from functools import partial

import pytest

from live import __main__ as entry
from live.sources import simulated
from live.sources.simulated import SimulatedSource
from replay.capture import Capture

PLAN = """
[session]
wearer = "W1"
activity = "rowing ergometer"
study = "study/plan.toml"
[[sensor]]
label = "Yarrow"
role = "reference"
source = "simulated"
kind = "strap"
[[sensor]]
label = "Sorrel"
role = "test"
placement = "left wrist"
source = "simulated"
kind = "wrist"
"""
STUDY = """
[study]
dated = 2026-03-01
stop = "all done"
[[cell]]
sensor = "Sorrel"
activity = "rowing ergometer"
sessions = 6
"""


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "session.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_the_next_open_cell_is_said_before_the_session(plan, tmp_path, capsys, monkeypatch):
    """The study's plan counts from the folder of the session's; the capture does not keep its
    place.
    """
    (tmp_path / "study").mkdir()
    (tmp_path / "study" / "plan.toml").write_text(STUDY, encoding="utf-8")
    monkeypatch.setattr(simulated, "SimulatedSource", partial(SimulatedSource, speed=20.0))
    command = ["live", "--plan", str(plan), "--out", str(tmp_path / "c"), "--view", "none"]
    assert entry.main([*command, "--minutes", "0.015"]) == 0
    told = capsys.readouterr()
    assert "Open in the study: Sorrel, 0 of 6 sessions." in told.out + told.err
    (path,) = (tmp_path / "c").glob("*.sqlite")
    with Capture.open(path) as capture:
        assert capture.plan.study == ""


def test_a_study_that_cannot_be_read_is_refused_before_the_session(plan, tmp_path, capsys):
    """One sentence with the file's name, and no capture."""
    command = ["live", "--plan", str(plan), "--out", str(tmp_path / "c"), "--view", "none"]
    assert entry.main([*command, "--minutes", "0.03"]) == 2
    assert "study/plan.toml: cannot be read: No such file" in capsys.readouterr().err
    assert not list(tmp_path.rglob("*.sqlite"))
