"""Who was worn where, in sentences: what is confounded, and what swaps have separated."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.report.study.texts import sessions_text, value_text
from analysis.study.placements import Pairing
from analysis.study.study import Activity
from analysis.study.thresholds import PER_ARRANGEMENT
from analysis.study.wearing_plan import Line


def arm_sentences(one: Activity) -> Iterator[str]:
    """What sensor and side do that cannot be told apart, and what swaps have separated."""
    for pairing in one.pairings:
        yield pairing_sentence(pairing)
    paired = {name for each in one.pairings for name in (each.first, each.second)}
    for worn in one.worn:
        sessions = sum(count for _, count in worn.places)
        if worn.name not in paired and len(worn.sides) == 1 and sessions > 1:
            (side,) = worn.sides
            yield (
                f"{worn.name} was on the {side} in all {sessions_text(sessions)}: what that side "
                "does and what the sensor does cannot be told apart."
            )


def plan_sentences(one: Activity) -> Iterator[str]:
    """The wearing plan: a line for each session."""
    for number, line in enumerate(one.plan, 1):
        yield f"{number}. {line_text(line)}"


def line_text(line: Line) -> str:
    """Who wears what where in one session."""
    return f"{line.wearer}: " + ", ".join(f"{label} {place}" for label, place in line.placements)


def pairing_sentence(one: Pairing) -> str:
    """Of two sensors worn on opposite sides in the same sessions."""
    left, right = one.first_left, one.first_right
    head = (
        f"{one.first} and {one.second} were worn on opposite sides ({one.part}), {one.first} on "
        f"the left in {left} and on the right in {right}"
    )
    effect, of_left = one.crossover.sensor, one.crossover.left
    if not left or not right:
        return (
            f"{head}: sensor and arm cannot be told apart; {PER_ARRANGEMENT} sessions with the two "
            "swapped would separate them."
        )
    if effect.interval is None:
        steady = one.crossover.arrangements
        return (
            f"{head}; neither lost the heart in {steady[0]} and {steady[1]} of these, and at least "
            f"{PER_ARRANGEMENT} of each are needed to tell sensor from arm."
        )
    return (
        f"{head}: with the arm taken out, {one.first}'s MAE less {one.second}'s is "
        f"{value_text(effect, 1, signed=True)} bpm; left less right, with the sensor taken out, "
        f"{value_text(of_left, 1, signed=True)} bpm."
    )
