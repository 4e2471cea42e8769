"""Two simulated clocks and the way between them, event by event; it shares no code with ours.

True time runs in float seconds.  The clock here is true; the other one has its own zero, rate and
steps.  A request takes a way of its own there, a reply one back.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field


@dataclass
class OtherClock:
    """``ahead_s`` at true time 0, gaining ``ppm``; ``steps``: (true time, s) added from then on."""

    ahead_s: float = 0.02
    ppm: float = 40.0
    steps: list[tuple[float, float]] = field(default_factory=list)

    def reads_ns(self, true_s: float) -> int:
        """What it shows at a moment."""
        stepped = sum(step for when, step in self.steps if true_s >= when)
        return round((true_s * (1 + self.ppm / 1e6) + self.ahead_s + stepped) * 1e9)


@dataclass
class Way:
    """One direction: never shorter than ``least_s``, jitter of mean ``jitter_s``, and now and then
    a packet that had to be sent again.
    """

    least_s: float = 0.002
    jitter_s: float = 0.01
    again_share: float = 0.02
    again_s: float = 0.4

    def takes_s(self, chance: random.Random) -> float:
        """The time that one message takes."""
        again = self.again_s if chance.random() < self.again_share else 0.0
        return self.least_s + chance.expovariate(1 / self.jitter_s) + again


def exchanges(
    clock: OtherClock,
    there: Way,
    back: Way,
    *,
    seconds: float,
    every_s: Callable[[float], float] = lambda at_s: 0.1 if at_s < 1 else 1.0,
    seed: int = 1,
) -> Iterator[tuple[int, int, int, int]]:
    """Four stamps of each exchange: sent, received there, sent there, received."""
    chance = random.Random(seed)
    at_s = 0.0
    while at_s < seconds:
        arrives_s = at_s + there.takes_s(chance)
        answers_s = arrives_s + chance.uniform(0.0001, 0.001)
        returns_s = answers_s + back.takes_s(chance)
        yield (
            round(at_s * 1e9),
            clock.reads_ns(arrives_s),
            clock.reads_ns(answers_s),
            round(returns_s * 1e9),
        )
        at_s = max(at_s + every_s(at_s), returns_s)
