"""What the study of a plan asks of the session that is about to begin, said before it does."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from analysis.report.study.advice_words import advice_lines
from analysis.study.advice import advice_for, kept_study
from analysis.study.study_plan import load_study_plan
from replay.plan import Plan


def study_advice(plan: Plan, folder: Path) -> Iterator[str]:
    """Lines about a session with this plan, whose capture comes to lie in ``folder`` beside the
    study's others.

    Raises :class:`~replay.errors.SidebeatError` if the study's own plan cannot be read.
    """
    study_plan = load_study_plan(Path(plan.study))
    study, unread = kept_study(folder)
    yield from advice_lines(advice_for(plan, study, study_plan, unread=unread))
