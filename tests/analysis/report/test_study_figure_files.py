"""The figures of a study as files: which there are, how large, and what they show."""

from __future__ import annotations

import struct
from array import array
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from matplotlib import pyplot as plt

from analysis.report.study import figure_files
from analysis.report.study.figure_files import save_study_figures
from analysis.report.study.figures import plot_differences, plot_sessions
from analysis.report.study.planes import plot_plane
from analysis.report.study.study_view import StudyView
from analysis.study.study import study_of
from replay.errors import SidebeatError
from tests.standins.small_pictures import SHRUNK, small_pictures
from tests.standins.study_rows import sessions

PAIRS = array("i", [60, 60, 100, 80, 82, 7]).tobytes()
ERRORS = {"Sorrel": [1.0, 1.1, 1.2], "$Tansy$": [1.3, 1.2, 1.1], "C": [7.0, 7.5, 8.0]}


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def study():
    return study_of(
        replace(row, sensors=tuple(replace(one, pair_counts=PAIRS) for one in row.sensors))
        for row in sessions(ERRORS)
    )


def test_every_figure_is_there_for_video_and_print(study, tmp_path):
    """PNG of both sizes of video and for paper, and SVG of both sheets, with the data's mark."""
    with small_pictures():
        view = StudyView.of(["sorrel", "$tansy$"])
        paths = list(save_study_figures(study, tmp_path / "figures", "Sidebeat test", view))
    assert all(path.is_file() for path in paths)
    names = {path.name for path in paths}
    for kind in ("sessions", "zoom", "differences", "pairs_sorrel", "pairs_tansy"):
        for ending in ("1920x1080.png", "3840x2160.png", "print.png", "print.svg", "video.svg"):
            assert f"rowing-ergometer_{kind}_{ending}" in names
    assert len(names) == len(paths) == 25
    for name, size in (("1920x1080", (1920, 1080)), ("3840x2160", (3840, 2160))):
        data = (tmp_path / "figures" / f"rowing-ergometer_sessions_{name}.png").read_bytes()
        assert struct.unpack(">II", data[16:24]) == tuple(side / SHRUNK for side in size)
    svg = tmp_path / "figures" / "rowing-ergometer_pairs_tansy_print.svg"
    text = "".join(ElementTree.parse(svg).getroot().itertext())
    assert "$Tansy$" in text
    assert "Sidebeat test" in text


def test_one_sensor_is_shown_on_the_axes_of_all(study, tmp_path, monkeypatch):
    """So that pictures of one after the other can be laid beside each other; the band can go."""
    monkeypatch.setattr(figure_files, "SHEETS", figure_files.SHEETS[-1:])
    with small_pictures():
        view = StudyView.of(["sorrel"], band=False)
        paths = list(save_study_figures(study, tmp_path, "x", view))
    assert {path.stem for path in paths} == {
        f"rowing-ergometer_{kind}_print" for kind in ("sessions", "zoom", "pairs_sorrel")
    }
    activity = study.activity("rowing ergometer")
    alone, others = (plot_sessions(activity, sensors=[label]) for label in ("Sorrel", "C"))
    assert alone.get_xlim() == others.get_xlim()
    assert [label.get_text() for label in alone.get_yticklabels()] == ["Sorrel"]
    compared = plot_differences(activity, sensors=["Sorrel", "C"])
    assert [label.get_text() for label in compared.get_yticklabels()] == ["Sorrel against C"]
    band, bare = (plot_plane(activity, "Sorrel", band=band) for band in (True, False))
    assert len(band.lines) - len(bare.lines) == 2
    assert band.get_xlim() == bare.get_xlim()


def test_a_folder_that_cannot_be_made_is_a_sentence(study, tmp_path):
    """With the place that is in the way."""
    (tmp_path / "there").write_text("x")
    with pytest.raises(SidebeatError, match="there: cannot be written"):
        list(save_study_figures(study, tmp_path / "there", "x"))
