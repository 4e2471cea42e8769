"""What is told of the links where no view tells it: each sentence once, for all it concerns."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

_DIGITS = re.compile(r"\d+")


class LinkSentences:
    """The newest sentence about each link that is not up, as lines.

    ``labels``: of the sensors, in the order of the plan.  A sentence that differs from the one told
    before by its numbers alone (seconds, dBm) is not told again; one that several links share (a
    broker that is away) is told once.
    """

    def __init__(self, labels: Sequence[str]) -> None:
        self._labels = tuple(labels)
        self._told: dict[int, str] = {}

    def news(self, sentences: Mapping[int, str]) -> Iterator[str]:
        """Lines for what changed.  ``sentences``: by the number of the sensor, of those not up."""
        fresh: dict[str, list[str]] = {}
        for number, sentence in sentences.items():
            kind = _DIGITS.sub("", sentence)
            if self._told.get(number) != kind:
                self._told[number] = kind
                fresh.setdefault(sentence, []).append(self._labels[number - 1])
        for sentence, labels in fresh.items():
            yield f"{', '.join(labels)}: {sentence}"
        up = [number for number in self._told if number not in sentences]
        for number in up:
            del self._told[number]
        if up:
            yield f"{', '.join(self._labels[number - 1] for number in up)}: linked."
