"""From how many sessions and wearers what may be said, each with its reason.

Half the 95 % interval of a mean, in standard deviations of the sessions' values, is 9.0 with 2
sessions, 2.5 with 3, 1.05 with 6, 0.84 with 8 and 0.64 with 12 (t distribution).
"""

from __future__ import annotations

from typing import Final

DESCRIBE: Final = 3
"""Two sessions give an interval of nine standard deviations to either side: they are shown, and
nothing is said of them."""

DIFFERS: Final = 6
"""The smallest two-sided p that sign flips can give is 2 / 2^k: .0625 with 5 sessions and .031 with
6, so that with fewer than 6 no flip test can reject at 5 %."""

RANK: Final = 8
"""A ranking is several comparisons at once.  Below 8 sessions the order is shown, not claimed."""

NO_FAILURES: Final = 12
"""No failure in 12 sessions still allows a rate of 22 % (one-sided 95 % bound); in 6, of 39 %."""

PEOPLE: Final = 6
"""Wearers from which the wearer is the unit, so that something is said about people in general.
With fewer, sessions are the unit and what is said holds for these wearers: the sessions of two or
four people do not show how people differ."""

PER_ARRANGEMENT: Final = 3
"""Sessions with each of two sensors on each side from which sensor and side are told apart: a
two-by-two crossover with fewer has no degrees of freedom worth the name."""

LEAST_PAIRS: Final = 120
"""Pairs that a session needs to count as one for a sensor: two minutes of agreement are no session,
and would weigh as much as an hour."""

LEAST_REFERENCE_PERCENT: Final = 80.0
"""Share of the session in which the reference must have been usable.  Decided by its own signals
alone, blind to the test sensors: what is left of a session with less may be the easy part of it."""

LOST_S: Final = 60
LOST_PERCENT: Final = 5.0
"""A sensor lost the heart in a session if its losses (stretches of 10 s and more that are more than
20 bpm off) last a minute in all and a twentieth of the seconds compared.  At 30 bpm off that is
1.5 bpm of MAE and more: such a session decides a mean of few sessions by itself."""
