"""Shares of efforts with their intervals; apart from finding them, since it loads scipy."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.statistics.efforts import Answer
from analysis.statistics.estimate import Estimate, binomial_interval


def share_of(answers: Sequence[Answer], wanted: Answer) -> Estimate:
    """Share (0–1) of the judged efforts with this answer, with its exact binomial interval.

    >>> share = share_of([Answer.FOLLOWED] * 8 + [Answer.MISSED] * 2, Answer.FOLLOWED)
    >>> share.value, [round(end, 4) for end in share.interval]
    (0.8, [0.4439, 0.9748])
    """
    judged = [answer for answer in answers if answer is not Answer.UNSEEN]
    if not judged:
        return Estimate.undefined("No effort could be judged.")
    count = sum(answer is wanted for answer in judged)
    return Estimate(count / len(judged), binomial_interval(count, len(judged)), len(judged))
