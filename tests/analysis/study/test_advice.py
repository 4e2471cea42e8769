"""What a study asks of the next session: wearing plan, open cells, firmware."""

from __future__ import annotations

from dataclasses import replace

from analysis.report.study.advice_words import advice_lines
from analysis.session import read_session
from analysis.study.advice import advice_for, kept_study
from analysis.study.study import study_of
from analysis.study.study_plan import Cell, StudyPlan, filled_cells
from tests.standins.captures import PLAN, write_capture
from tests.standins.captures import session_events as events
from tests.standins.study_rows import four_sessions, sensor_row, session_row

ACTIVITY = "rowing ergometer"


def advice_of(plan, study, study_plan, **more):
    tests = [plan.sensor(number) for number in plan.tests]
    return advice_for(plan.activity, tests, study, study_plan, **more)


def plan_with(*cells):
    return StudyPlan(dated=None, stop="", cells=cells)


def cell(sensor, wanted, **more):
    return Cell(sensor=sensor, activity=ACTIVITY, sessions=wanted, **more)


def test_the_next_line_of_the_wearing_plan_and_the_open_cells_are_offered():
    """Those of this activity alone; of sensors that are worn, on their side, first."""
    cells = plan_with(
        cell("Tansy", 9), cell("Sorrel", 2), cell("Sorrel", 8, side="right"),
        cell("Sorrel", 8, side="left"), Cell(sensor="Sorrel", activity="walking", sessions=3),
    )  # fmt: skip
    advice = advice_of(PLAN, four_sessions(), cells)
    assert [(one.cell.sensor, one.cell.side) for one in advice.open_cells] == [
        ("Sorrel", "left"), ("Sorrel", "right"), ("Tansy", ""),
    ]  # fmt: skip
    assert advice.line == four_sessions().activity(ACTIVITY).plan[0]
    lines = list(advice_lines(advice))
    assert lines[0].startswith("The study's wearing plan, next session: W1: Sorrel ")
    assert lines[1] == (
        "Open in the study: Sorrel on the left, 2 of 8 sessions; Sorrel on the right, 2 of 8 "
        "sessions; Tansy, 4 of 9 sessions."
    )


def test_a_firmware_that_changed_before_its_cell_is_complete_is_warned_of():
    """From the plan, or as the sensor itself tells it; once the cell is done nobody is warned."""
    plan = replace(
        PLAN,
        sensors=tuple(
            replace(one, firmware="8.0") if one.label == "Sorrel" else one for one in PLAN.sensors
        ),
    )
    (change,) = advice_of(plan, four_sessions(), plan_with(cell("Sorrel", 6))).changes
    assert (change.before, change.after, change.done, change.wanted) == (("7.4",), "8.0", 4, 6)
    told = next(advice_lines(advice_of(plan, four_sessions(), plan_with(cell("Sorrel", 6)))))
    assert told == (
        "Sorrel has firmware 8.0 now and had 7.4 in the study, with 4 of 6 sessions done: it "
        "will not be pooled with those."
    )
    assert advice_of(plan, four_sessions(), plan_with(cell("Sorrel", 4))).changes == ()
    heard = advice_of(
        plan, four_sessions(), plan_with(cell("Sorrel", 6)), firmware={"Sorrel": "7.4"}
    )
    assert heard.changes == ()
    assert advice_of(PLAN, four_sessions(), plan_with(cell("Sorrel", 6))).changes == ()  # not known


def test_a_cell_says_which_firmwares_its_sessions_had():
    """In order of their use, so that it is seen which of them are not pooled."""
    rows = [session_row(n, [sensor_row(firmware="7.4" if n < 2 else "8.0")]) for n in range(4)]
    (one,) = filled_cells(plan_with(cell("Sorrel", 6)), study_of(rows))
    assert (one.done, one.firmware) == (4, ("7.4", "8.0"))


def test_a_study_that_has_no_session_yet_asks_for_its_cells(tmp_path):
    """Nothing is recorded: no wearing plan, all cells open, nothing fails."""
    study, unread = kept_study(tmp_path / "nowhere")
    advice = advice_of(PLAN, study, plan_with(cell("Sorrel", 6)), unread=unread)
    assert list(advice_lines(advice)) == ["Open in the study: Sorrel, 0 of 6 sessions."]


def test_only_what_is_kept_counts_and_nothing_is_computed(tmp_path, monkeypatch):
    """A session about to begin does not wait for the records of earlier ones; they are counted."""
    monkeypatch.setenv("SIDEBEAT_CACHE_DIR", str(tmp_path / "cache"))
    folder = tmp_path / "captures"
    folder.mkdir()
    for name in ("a", "b"):
        write_capture(folder / f"{name}.sqlite", events(130))
    study, unread = kept_study(folder)
    assert (len(study.rows), unread) == (0, 2)
    read_session(folder / "a.sqlite")
    study, unread = kept_study(folder)
    assert (len(study.rows), unread) == (1, 1)
    advice = advice_of(PLAN, study, plan_with(), unread=unread)
    assert list(advice_lines(advice))[-1] == (
        "1 capture is not counted here, being new: 'sidebeat study' reads what is new."
    )
