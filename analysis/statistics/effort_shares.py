"""Shares of efforts with their intervals; apart from finding them, since it loads scipy."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.statistics.efforts import Answer
from analysis.statistics.estimate import Estimate, binomial_interval


def share_of(answers: Sequence[Answer], wanted: Answer) -> Estimate:
    """Share (0–1) of the judged efforts with this answer, with its exact binomial interval."""
    judged = [answer for answer in answers if answer is not Answer.UNSEEN]
    if not judged:
        return Estimate.undefined("No effort could be judged.")
    count = sum(answer is wanted for answer in judged)
    return Estimate(count / len(judged), binomial_interval(count, len(judged)), len(judged))
