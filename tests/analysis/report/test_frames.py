"""Numbers as tables, with pandas and without."""

from __future__ import annotations

import csv
import importlib.util

import numpy as np
import pytest

from analysis.report import frames
from analysis.report.frames import flat_row, frame
from analysis.report.study.figures import plot_differences, plot_sessions
from analysis.report.study.tables import TABLES, study_frames, study_rows
from analysis.study.study import study_of
from live import __main__ as entry
from live.cli import study as command
from tests.standins.study_rows import sessions

TANSY = [3.1, 2.9, 3.4, 3.0, 2.7, 3.0, 3.0]


@pytest.fixture(scope="module", name="study")
def study_fixture():
    """Seven sessions of two sensors; in one of them Sorrel has failed."""
    return study_of(sessions({"Sorrel": [1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 15.0], "Tansy": TANSY}))


@pytest.mark.parametrize("has_pandas", [True, False])
def test_a_frame_has_the_same_columns_with_pandas_and_without(has_pandas, monkeypatch):
    """Numbers stay numbers, truth values truth values, and what is not known is NaN."""
    if not has_pandas:
        monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    rows = [{"a": 1, "b": None, "c": "x", "d": True}, {"a": 2, "b": 1.5, "d": False}]
    table = frame(rows)
    columns = table.dtype.names if isinstance(table, np.ndarray) else tuple(table.columns)
    assert isinstance(table, np.ndarray) is not has_pandas
    assert columns == ("a", "b", "c", "d")
    assert list(table["a"]) == [1, 2]
    assert np.isnan(table["b"][0])
    assert list(table["c"]) == ["x", ""]
    assert list(table["d"]) == [True, False]
    assert frames.frame([]) is not None


def test_nested_facts_become_columns():
    """Intervals make two columns, inner objects bring their name, lists of texts are joined."""
    row = flat_row({"x_interval": None, "in": {"y": 1}, "said": ["a.", "b."], "other": [{"z": 1}]})
    assert row == {"x_interval_low": None, "x_interval_high": None, "in_y": 1, "said": "a. b."}


def test_a_study_has_a_table_for_each_list_of_its_json(study):
    """One row per sensor of a session, per sensor of an activity, per comparison, per place."""
    rows = study_rows(study)
    assert set(rows) == set(TABLES)
    assert (len(rows["sessions"]), len(rows["sensors"]), len(rows["rankings"])) == (14, 2, 2)
    table = study_frames(study)["sensors"]
    assert np.isnan(table["mae_bpm_interval_low"][0])
    assert table["without_failures_mae_bpm_interval_low"][0] > 0


def test_the_command_writes_every_table_as_csv(study, tmp_path, capsys, monkeypatch):
    """``--csv`` writes one file per table that has rows, each with its names on top."""
    monkeypatch.setattr(command, "read", lambda *_, **__: study)
    assert entry.main(["study", "captures", "--csv", str(tmp_path / "out")]) == 0
    files = {path.stem for path in (tmp_path / "out").iterdir()}
    assert files == {"sessions", "sensors", "comparisons", "rankings"}
    with (tmp_path / "out" / "sensors.csv").open(encoding="utf-8", newline="") as stream:
        (first, second) = csv.DictReader(stream)
    assert (first["sensor"], second["sensor"]) == ("Sorrel", "Tansy")
    assert first["mae_bpm_interval_low"] == ""
    assert float(second["mae_bpm"]) == pytest.approx(np.mean(TANSY))
    assert str(tmp_path / "out") in capsys.readouterr().out.replace("\n", "")


def test_figures_show_every_session_and_say_what_may_be_claimed(study):
    """Each session is a point, each difference a line, on the axes that come back."""
    from matplotlib import pyplot as plt

    (activity,) = study.activities
    axes = plot_sessions(activity)
    points = sum(len(line.get_xdata()) for line in axes.lines if line.get_linestyle() == "None")
    assert points == 14 + 2  # sessions, and a mark for each mean
    again = plot_differences(activity, axes)
    assert again is axes
    plt.close("all")


def test_a_label_in_a_figure_is_a_text_and_no_formula():
    """Dollar signs in a sensor's name are drawn as they are."""
    from matplotlib import pyplot as plt

    (activity,) = study_of(sessions({"$x$": TANSY})).activities
    axes = plot_sessions(activity)
    axes.figure.canvas.draw()
    (label,) = axes.get_yticklabels()
    assert label.get_text() == "$x$"
    assert not label.get_parse_math()
    plt.close("all")
