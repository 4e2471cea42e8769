"""Figures and pages show a sensor by the sign that its plan holds."""

from __future__ import annotations

from dataclasses import replace

import pytest
from matplotlib.lines import Line2D

from analysis.report import tables
from analysis.report.agreement_plots import draw_agreement
from analysis.report.figure_canvas import PAGE, Heading
from analysis.report.palette import LIGHT, SHAPES, SIGNS
from analysis.report.sensor_signs import signs_in
from analysis.report.traces import draw_traces
from analysis.session.pipeline import Session
from replay.plan import Plan, PlannedSensor
from tests.standins.demo_sessions import rowing_session

HEADING = Heading("Traces", "W1", "here", invented=True)


@pytest.fixture(scope="module")
def session():
    """The rowing session, its first test sensor with sign 5 in the plan."""
    found = rowing_session()
    sensors = list(found.record.plan.sensors)
    place = next(i for i, one in enumerate(sensors) if one.role == "test")
    sensors[place] = replace(sensors[place], sign=5)
    plan = replace(found.record.plan, sensors=tuple(sensors))
    return Session(replace(found.record, plan=plan), replace(found.data, plan=plan))


def lines_of(canvas):
    over = [one for one in canvas.figure.artists if isinstance(one, Line2D)]
    return [*over, *(line for ax in canvas.figure.axes for line in ax.lines)]


def test_signs_are_those_of_the_screens():
    """By the plan's own numbers; a line is dashed where its colour is there a second time."""
    worn = [
        PlannedSensor(
            label="Yarrow", role="reference", placement="chest", source="simulated", kind="wrist"
        )
    ]
    worn += [
        PlannedSensor(
            label=label, role="test", placement="wrist", source="simulated", kind="wrist", sign=sign
        )
        for label, sign in (("A", 8), ("B", 1), ("C", 0))
    ]
    signs = signs_in(Plan(wearer="W1", activity="x", sensors=tuple(worn)))
    assert [signs[n].colour for n in (2, 3, 4)] == ["sensor-1", "sensor-1", "sensor-2"]
    assert [signs[n].shape for n in (2, 3, 4)] == [SHAPES[7], SHAPES[0], SHAPES[1]]
    assert [signs[n].dashed for n in (2, 3, 4)] == [False, True, False]


@pytest.mark.parametrize("draw", [draw_traces, draw_agreement])
def test_figures_draw_a_sensor_in_the_colour_and_shape_of_its_sign(draw, session):
    """And give its place's sign to the next."""
    drawn = {(line.get_color(), str(line.get_marker())) for line in
             lines_of(draw(session, PAGE, HEADING))}  # fmt: skip
    assert (LIGHT["sensor-5"], str(SHAPES[4])) in drawn
    assert (LIGHT["sensor-1"], str(SHAPES[0])) in drawn


def test_tables_show_the_sign(session):
    """As the figures beside them do."""
    first, second, *_ = session.record.sensors
    assert tables.sign_of(session.record, first.label) == SIGNS[4]
    assert [row.sign for row in tables.summary(session.record).rows][:2] == [SIGNS[4], SIGNS[0]]
    assert tables.sign_of(session.record, second.label) == SIGNS[0]
