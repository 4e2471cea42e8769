"""What the study page says beside each of its pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from analysis.report.study.comparison_words import comparison_sentence
from analysis.report.study.placement_words import arm_sentences, plan_sentences
from analysis.report.study.plan_words import plan_lines
from analysis.report.study.published_words import published_sentence
from analysis.report.study.texts import sessions_text, wearers_text
from analysis.report.study.words import ranking_sentences, sensor_sentences, verdict_of
from analysis.report.words import listed as listed_words
from analysis.study.comparison import Kind
from analysis.study.published import Published
from analysis.study.study import Activity, Study
from analysis.study.study_plan import StudyPlan


class Tab(StrEnum):
    """What the lanes show; the value is the word on the tab."""

    RANKING = "Ranking"
    FIRMWARE = "Old and new"
    ARMS = "Left and right"
    DIFFERENCES = "Differences"
    PLAN = "Plan"
    APART = "Not counted"


NOTHING = {
    Tab.FIRMWARE: "No sensor was worn with more than one firmware here.",
    Tab.ARMS: "No sensor was worn on a side of the body here.",
    Tab.DIFFERENCES: "No two sensors can be compared here yet.",
}
"""In place of a picture that would be empty."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What a study is read beside: its plan, and figures that were published without data."""

    plan: StudyPlan | None = None
    published: Sequence[Published] = ()


ALONE: Final = Beside()


def paragraphs(
    study: Study, activity: Activity, tab: Tab, sensor: str, beside: Beside = ALONE
) -> list[str]:
    """What is said beside a picture; ``sensor``: the chosen one."""
    match tab:
        case Tab.RANKING:
            head = verdict_of(activity).head
            chosen = " ".join(sensor_sentences(activity.sensor(sensor)))
            return [head, chosen, *ranking_sentences(activity.ranking), *_published(beside)]
        case Tab.FIRMWARE:
            return _compared(activity, Kind.FIRMWARE) or [NOTHING[tab]]
        case Tab.ARMS:
            plan = list(plan_sentences(activity))
            return [
                *arm_sentences(activity),
                *_compared(activity, Kind.ARMS),
                *(["The next sessions, so that sensor and arm come apart:", *plan] if plan else ()),
            ] or [NOTHING[tab]]
        case Tab.DIFFERENCES:
            return list(verdict_of(activity).comparisons) or [NOTHING[tab]]
        case Tab.PLAN:
            return [] if beside.plan is None else list(plan_lines(beside.plan, study))
        case Tab.APART:
            return not_counted(study)


def head_of(activity: Activity) -> str:
    """How many sessions of how many wearers."""
    wearers = len({row.wearer for row in activity.sessions})
    return f"{sessions_text(len(activity.sessions))} of {wearers_text(wearers)}."


def claim_text(activity: Activity) -> str:
    """In short what may be claimed: who was closer than whom."""
    closer: dict[str, list[str]] = {}
    for one in activity.comparisons:
        if one.differs:
            closer.setdefault(one.closer, []).append(one.other)
    if not closer:
        return "That any two differ may not be claimed yet."
    said = "; ".join(
        f"{name} closer than {listed_words(others)}" for name, others in closer.items()
    )
    return f"May be claimed: {said}."


def _published(beside: Beside) -> list[str]:
    told = [published_sentence(one) for one in beside.published]
    head = "Published elsewhere, without data: to be read, not to be ranked."
    return [head, *told] if told else []


def _compared(activity: Activity, kind: Kind) -> list[str]:
    return [comparison_sentence(one) for one in activity.comparisons if one.kind is kind]


def not_counted(study: Study) -> list[str]:
    """Every session, sensor and file that does not count, with the reason."""
    apart = [f"{one.path}, {one.sensor or 'the session'}: {one.reason}." for one in study.apart]
    return [*apart, *(_sentence(one.reason) for one in study.left_out)] or [
        "All that was read counts."
    ]


def count_not_counted(study: Study) -> int:
    """How many of them."""
    return len(study.apart) + len(study.left_out)


def _sentence(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def joined(texts: Sequence[str]) -> str:
    """Paragraphs, one below the other."""
    return "\n\n".join(texts)
