"""Another computer's clock, from requests and replies: its offset, its drift, how sure both are.

Each exchange has four stamps: sent (here), received and sent again (there), received (here).  The
request cannot have come before it was sent, nor the reply, so that the offset lies between
``sent - received there`` and ``received here - sent there`` whatever the paths did: the middle is
the estimate, half the round trip its bound (Cristian, "Probabilistic clock synchronization",
Distributed Computing 3, 1989).  Jitter only ever lengthens a round trip, so of a window the
exchange with the lowest is kept (the clock filter of Mills, RFC 5905, section 10).  Through those a
line is laid by medians (Theil 1950; Sen, JASA 63, 1968), which a few bad points do not move.  These
sources are cited from memory.

The bound needs no distribution.  At a kept exchange the truth lies in its interval, so that the
line is wrong by at most half its round trip and its distance from the middle; from there on the
error grows by what the drift may be wrong.  It holds for any asymmetry of the paths.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from live.sources.base import BoundedTranslation
from replay.event import NS_PER_S
from replay.foreign_time import Translation

WINDOW_NS: Final = 10 * NS_PER_S
"""Of the exchanges in such a window the one with the lowest round trip is kept."""
LATELY_NS: Final = 600 * NS_PER_S
"""The line for the present moment is laid through this much: a crystal's drift wanders with its
temperature, by some 0.1 ppm in that time."""
MOST_KEPT: Final = 240
"""Exchanges kept of one count; beyond, of each two neighbours the better one is."""
FEWEST_OF_LINE: Final = 4
SHORTEST_LINE_NS: Final = 40 * NS_PER_S
"""Before that no drift is told, and the newest good exchange stands for the offset."""
FASTEST_PPB: Final = 200_000.0
"""No computer's clock is further from another's: crystals keep to 100 ppm."""
WANDER_PPB: Final = 1_000.0
"""What a drift changes by in a session, with the temperature of the crystal."""
EXCHANGES_KNOWN: Final = 4
"""Before so many exchanges nothing is said: the first finds caches cold and connections new."""
WIDEST_NS: Final = NS_PER_S // 2
"""With a wider bound an offset is not known for any use."""
CONTRADICTIONS: Final = 3
"""Exchanges that say the same other thing make a step of the clock; fewer are outliers."""


@dataclass(frozen=True)
class Exchange:
    """One request and its reply, four stamps in ns: ``sent_ns`` and ``received_ns`` of the clock
    here, ``there_received_ns`` and ``there_sent_ns`` of the other.  What follows from them
    is worked out once.
    """

    sent_ns: int
    there_received_ns: int
    there_sent_ns: int
    received_ns: int

    @property
    def is_possible(self) -> bool:
        """Whether both clocks ran forwards, and the reply took no less than nothing."""
        return self.there_sent_ns >= self.there_received_ns and self.round_trip_ns >= 0

    @cached_property
    def round_trip_ns(self) -> int:
        """Time on the way, both ways together."""
        return self.highest_ns - self.lowest_ns

    @property
    def lowest_ns(self) -> int:
        """The offset is no lower."""
        return self.sent_ns - self.there_received_ns

    @property
    def highest_ns(self) -> int:
        """The offset is no higher."""
        return self.received_ns - self.there_sent_ns

    @cached_property
    def offset_ns(self) -> int:
        """What to add to the other clock if both ways took the same time."""
        return (self.lowest_ns + self.highest_ns) // 2

    @cached_property
    def at_ns(self) -> int:
        """When it was, on the other clock."""
        return (self.there_received_ns + self.there_sent_ns) // 2


class _Points(NamedTuple):
    """Exchanges in order of time: when they were there, offset and round trip, int64[n] in ns."""

    at_ns: npt.NDArray[np.int64]
    offset_ns: npt.NDArray[np.int64]
    trip_ns: npt.NDArray[np.int64]

    @classmethod
    def of(cls, exchanges: Sequence[Exchange]) -> _Points:
        rows = [(one.at_ns, one.offset_ns, one.round_trip_ns) for one in exchanges]
        return cls(*np.array(rows, dtype=np.int64).reshape(-1, 3).T.copy())

    def with_one(self, exchange: Exchange) -> _Points:
        """These and a later one."""
        new = (exchange.at_ns, exchange.offset_ns, exchange.round_trip_ns)
        return _Points(*(np.append(held, one) for held, one in zip(self, new, strict=True)))

    def where(self, wanted: npt.NDArray[np.bool_]) -> _Points:
        return _Points(*(held[wanted] for held in self))


class ClockLine:
    """The translation of one other clock, exchange by exchange.

    ``count``: from 1, how often the other clock has begun to count anew: it was found to have
    stepped against ours.  Stamps of one count must not be translated by another's line.
    """

    def __init__(self) -> None:
        self.count = 1
        self.refused = 0
        """Exchanges that cannot have happened as their stamps say, or contradict the others."""
        self.earlier: dict[int, BoundedTranslation] = {}
        """What is known of the counts before, as far as anything is."""
        self._begin()

    def _begin(self) -> None:
        self._kept: list[Exchange] = []  # the best of each window that is over
        self._kept_points = _Points.of(self._kept)
        self._window_ns = WINDOW_NS
        self._window = 0
        self._best: deque[Exchange] = deque()  # of the window under way, 0 or 1
        self._taken = 0
        self._suspects: list[Exchange] = []
        self._line: _Line | None = None
        self._now: BoundedTranslation | None = None

    def add(self, exchange: Exchange) -> bool:
        """Take one exchange, in order; whether the other clock was now found to have stepped."""
        if not exchange.is_possible:
            self.refused += 1
            return False
        now = self.now
        if now is None or self._agrees(exchange, now):
            if self._suspects and not _agree(exchange, self._suspects[-1]):
                self.refused += len(self._suspects)
                self._suspects.clear()
            self._take(exchange)
            return False
        if self._suspects and not _agree(exchange, self._suspects[-1]):
            self.refused += len(self._suspects)
            self._suspects.clear()
        self._suspects.append(exchange)
        if len(self._suspects) < CONTRADICTIONS:
            return False
        suspects = self._suspects
        if (whole := self.whole) is not None:
            self.earlier[self.count] = whole
        self.count += 1
        self._begin()
        for one in suspects:
            self._take(one)
        return True

    @property
    def now(self) -> BoundedTranslation | None:
        """For stamps of this moment; ``None`` while it is not known well enough."""
        return self._now

    @property
    def whole(self) -> BoundedTranslation | None:
        """For all stamps of the present count; ``None`` if that was never known well enough."""
        if self._taken < EXCHANGES_KNOWN:
            return None
        points = _Points.of(self.kept)
        return _useful(_Line.through(points, points).bounded(points.at_ns.tolist()))

    def bound_ns(self, stamp_ns: int) -> int | None:
        """What :attr:`now` may be wrong by at a stamp near its end; ``None`` if it is not known."""
        if self._line is None or self._now is None:
            return None
        return self._line.bounded([stamp_ns]).bound_ns

    @property
    def kept(self) -> list[Exchange]:
        """The best exchange of each window, in order."""
        return [*self._kept, *self._best]

    def _take(self, exchange: Exchange) -> None:
        self._taken += 1
        window = exchange.at_ns // self._window_ns
        if self._best and window != self._window:
            self._kept.append(self._best.pop())
            if len(self._kept) > MOST_KEPT:
                self._thin_out()
                window = exchange.at_ns // self._window_ns
            self._kept_points = _Points.of(self._kept)
        self._window = window
        if not self._best:
            self._best.append(exchange)
        elif exchange.round_trip_ns <= self._best[0].round_trip_ns:
            self._best[0] = exchange
        elif self._now is not None:
            return  # nothing has changed
        points = self._kept_points.with_one(self._best[0])
        newest_ns = self._best[0].at_ns
        lately = points.where(points.at_ns >= newest_ns - LATELY_NS)
        self._line = _Line.through(lately, points)
        if self._taken >= EXCHANGES_KNOWN:
            self._now = _useful(self._line.bounded([newest_ns]))

    def _thin_out(self) -> None:
        pairs = zip(self._kept[::2], self._kept[1::2], strict=False)
        better = [min(pair, key=lambda one: one.round_trip_ns) for pair in pairs]
        rest = self._kept[len(better) * 2 :]
        self._kept = better + rest
        self._window_ns *= 2

    def _agrees(self, exchange: Exchange, now: BoundedTranslation) -> bool:
        at_ns = exchange.at_ns
        bound_ns = self.bound_ns(at_ns) or now.bound_ns
        told_ns = now.translation.to_capture_ns(at_ns) - at_ns
        return exchange.lowest_ns - bound_ns <= told_ns <= exchange.highest_ns + bound_ns


def _useful(found: BoundedTranslation) -> BoundedTranslation | None:
    return found if found.bound_ns <= WIDEST_NS else None


def _agree(one: Exchange, other: Exchange) -> bool:
    """Whether one clock can have made both."""
    slack_ns = abs(one.at_ns - other.at_ns) * FASTEST_PPB / 1e9
    return (
        one.lowest_ns <= other.highest_ns + slack_ns
        and other.lowest_ns <= one.highest_ns + slack_ns
    )


@lru_cache(maxsize=16)
def _pairs(count: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Each two of so many, the earlier and the later one: the same for one line after the other."""
    return np.triu_indices(count, 1)


class _Line:
    """A translation, what its drift may be wrong by, and what it is wrong by at some exchanges."""

    def __init__(self, translation: Translation, slack_ppb: float, points: _Points) -> None:
        self.translation = translation
        self._slack_ppb = slack_ppb
        self._at_ns = (points.at_ns - translation.at_ns).astype(np.float64)
        middle_ns = points.offset_ns - translation.offset_ns
        line_ns = self._at_ns * translation.drift_ppb / 1e9
        self._wrong_ns = points.trip_ns / 2 + np.abs(middle_ns - line_ns)

    def bounded(self, stamps_ns: Sequence[int]) -> BoundedTranslation:
        """The translation with what it may be wrong by at the worst of some stamps."""
        slack = self._slack_ppb / 1e9
        worst_ns = 0.0
        for stamp_ns in stamps_ns:
            away_ns = np.abs(self._at_ns - (stamp_ns - self.translation.at_ns))
            worst_ns = max(worst_ns, float(np.min(self._wrong_ns + away_ns * slack)))
        return BoundedTranslation(self.translation, round(worst_ns) + 1)

    @classmethod
    def through(cls, points: _Points, known: _Points) -> _Line:
        """The line through the better ones of ``points``, in order of time; ``known``: all that
        its error can be told by.
        """
        quartile_ns = np.sort(points.trip_ns)[len(points.trip_ns) // 4]
        good = points.where(points.trip_ns <= 2 * quartile_ns)
        count, at_ns = len(good.at_ns), int(good.at_ns[-1])
        if count < FEWEST_OF_LINE or at_ns - int(good.at_ns[0]) < SHORTEST_LINE_NS:
            newest = int(np.argmin(points.trip_ns[-3:])) - min(3, len(points.trip_ns))
            offset_ns = int(points.offset_ns[newest])
            return cls(Translation(offset_ns, 0, int(points.at_ns[newest])), FASTEST_PPB, known)
        base_ns = int(good.offset_ns[-1])
        x = (good.at_ns - at_ns).astype(np.float64)
        y = (good.offset_ns - base_ns).astype(np.float64)
        half = good.trip_ns / 2
        earlier, later = _pairs(count)
        apart = x[later] - x[earlier]
        far = apart >= (x[-1] - x[0]) / 4  # near ones tell of their jitter, not of the drift
        earlier, later, apart = earlier[far], later[far], apart[far]
        slope = float(np.median((y[later] - y[earlier]) / apart))
        slope = max(-FASTEST_PPB / 1e9, min(slope, FASTEST_PPB / 1e9))
        left = float(np.median(y - slope * x))
        off = half + np.abs(y - slope * x - left)
        slack = float(np.min((off[later] + off[earlier]) / apart)) * 1e9
        return cls(
            Translation(base_ns + round(left), round(slope * 1e9), at_ns),
            min(slack, FASTEST_PPB) + WANDER_PPB,
            known,
        )
