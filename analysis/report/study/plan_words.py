"""The plan of a study beside what became of it, in sentences and as plain values."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.report.facts import Facts
from analysis.report.words import listed
from analysis.study.study import Study
from analysis.study.study_plan import Filled, State, StudyPlan, filled_cells, is_planned


def plan_lines(plan: StudyPlan, study: Study) -> Iterator[str]:
    """A line for the plan, one for each cell, and one for what was decided later."""
    yield f"Dated {plan.dated.isoformat()}.  It ends: {plan.stop}"
    for one in filled_cells(plan, study):
        yield _cell_line(one)
    later = [
        f"{each.closer} against {each.other} in {each.activity}"
        for activity in study.activities
        for each in activity.comparisons
        if not is_planned(each, plan, study)
    ]
    if later:
        yield f"Decided later, and exploratory: {'; '.join(later)}."


def _cell_line(one: Filled) -> str:
    cell = one.cell
    where = f", {cell.side}" if cell.side else ""
    line = (
        f"{cell.sensor} in {cell.activity}{where}: {one.state.value}, "
        f"{one.done} of {cell.sessions} sessions"
    )
    if one.state is State.GIVEN_UP:
        line += f" ({cell.given_up})"
    if len(one.firmware) > 1:
        line += f", with firmware {listed(one.firmware)}, which are not pooled"
    return line + (f"; expected: {cell.claim}" if cell.claim else "")


def plan_facts(plan: StudyPlan, study: Study) -> Facts:
    """The same for ``--json``."""
    return {
        "dated": plan.dated.isoformat(),
        "stop": plan.stop,
        "cells": [
            {
                "sensor": one.cell.sensor,
                "activity": one.cell.activity,
                "side": one.cell.side or None,
                "target_sessions": one.cell.sessions,
                "done_sessions": one.done,
                "state": one.state.value,
                "firmware": list(one.firmware),
                "expected": one.cell.claim,
                "given_up": one.cell.given_up,
            }
            for one in filled_cells(plan, study)
        ],
        "exploratory": [
            {"activity": activity.name, "closer": each.closer, "other": each.other}
            for activity in study.activities
            for each in activity.comparisons
            if not is_planned(each, plan, study)
        ],
    }
