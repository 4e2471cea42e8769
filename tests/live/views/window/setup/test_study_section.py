"""The set-up page offers what the study asks for, and warns of changed firmware."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtWidgets import QApplication

from analysis.study import advice as advice_module
from analysis.study.study import study_of
from tests.standins.setup_rows import ROWS, complete, own_config_fixture, tick  # noqa: F401
from tests.standins.setups import row, setup_page
from tests.standins.study_rows import sensor_row, session_row

STUDY = """
[study]
dated = 2026-03-01
stop = "all done"
[[cell]]
sensor = "Sorrel"
activity = "kettlebell sets"
sessions = 6
"""


@pytest.fixture(autouse=True)
def earlier(monkeypatch):
    """Four sessions with Sorrel, firmware 7.4, always on the left, and Tansy on the right."""
    worn = (sensor_row("Sorrel", placement="left wrist", firmware="7.4"),
            sensor_row("Tansy", placement="right wrist", firmware=""))  # fmt: skip
    rows = [session_row(n, worn, activity="kettlebell sets") for n in range(4)]
    monkeypatch.setattr(advice_module, "kept_study", lambda _: (study_of(rows), 0))


def settled(window):
    window.frame()
    window.folder.study.settle()
    window.frame()
    QApplication.processEvents()


def test_the_next_line_is_offered_and_worn_by_one_press(tmp_path):
    """The study's plan lies among the captures; the line says who wears what where, and the button
    puts it into the plan.
    """
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        settled(window)
        section, page = window.plan_page.study, window.plan_page
        assert section.isVisible()
        assert "next session: W1: Sorrel right wrist, Tansy left wrist" in section.words.text()
        assert "Open in the study: Sorrel, 4 of 6 sessions." in section.words.text()
        assert not section.warning.isVisible()
        section.button.click()
        assert [s.placement for s in page.builder.sensors] == ["chest", "right wrist", "left wrist"]
        assert not section.button.isVisible()
        assert section.isVisible()


def test_firmware_that_changed_before_the_baseline_is_complete_is_warned_of(tmp_path):
    """As the sensor itself tells it while it is in reach."""
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    with setup_page(tmp_path, *ROWS) as (window, child):
        complete(window)
        settled(window)
        child.lines.append({"sensors": [row("Sorrel", firmware="8.0")]})
        window.frame()
        said = window.plan_page.study.warning
        assert said.isVisible()
        assert said.text().startswith("Sorrel has firmware 8.0 now and had 7.4 in the study")


def test_without_a_study_nothing_is_asked(tmp_path):
    """No section, no reading."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        settled(window)
        assert not window.plan_page.study.isVisible()


def test_the_plan_s_own_study_counts_first_and_what_is_wrong_with_it_is_said(tmp_path):
    """A plan that names its study asks for that one; a file that cannot be read is a sentence, and
    keeps nobody from recording.
    """
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        settled(window)
        builder = window.plan_page.builder
        window.plan_page.show_plan(replace(builder.plan(), study=str(tmp_path / "no.toml")))
        settled(window)
        section = window.plan_page.study
        assert "no.toml: cannot be read" in section.warning.text()
        assert not section.words.isVisible()
        assert window.footer.forward.isEnabled()


def test_another_activity_has_another_line(tmp_path):
    """What is asked for follows what is typed."""
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        settled(window)
        window.plan_page.form.activity.setEditText("walking")
        window.plan_page.form.edited.emit()
        assert not window.plan_page.study.isVisible()
        tick(window, "Tansy")
        assert not window.plan_page.study.isVisible()
