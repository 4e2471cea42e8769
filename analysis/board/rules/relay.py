"""Relay: a "sensor" that only repeats another's signal; its agreement is worthless."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
)
from analysis.board.rules.beat_match import match_among
from analysis.board.rules.echo import Echo
from analysis.board.rules.sightings import Sightings
from analysis.board.rules.streams import Change, Stream
from analysis.board.rules.thresholds import RELAY, RelayLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class Relay(SensorRule):
    """Repeats the RR list of another sensor, or its values a constant moment later.

    ``echoes``: what it has in common with each of the others, in their order.
    """

    kind = WarningKind.RELAY
    sleeps_lightly = True  # its first RR

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        own: Stream,
        others: Sequence[Stream],
        *,
        sightings: Sightings,
        limits: RelayLimits = RELAY,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._own = own
        self._sightings = sightings
        sightings.tell(self, own)
        self.echoes: Final = tuple(Echo(stream, limits) for stream in others)
        self._followed: list[Echo] = []
        self._forgotten = 0  # of its changes: those before count for nothing any more
        self._source: Echo | None = None
        self._lag_s = 0.0
        self._by_rr = False
        self._since = 0
        self._due = 0
        self._unlike_s = 0
        self._beat_s = -1

    @property
    def repeats(self) -> SensorState | None:
        """The sensor whose signal this one repeats, as far as is known."""
        return self._source.source.sensor if self._source else None

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        own = self._own
        self._sightings.look(second)
        if own.new_beats:
            if second >= self._due:
                self._compare_beats(second)
            self._beat_s = second
        elif second - self._beat_s > self._limits.clear_s:
            self._by_rr = False  # its RR have stopped: from here on its values tell
        if own.new_changes:
            self._compare_changes(second)
        source = self._source
        # The sightings wake it when it may repeat somebody; beats are looked at as they come.
        may_sleep = source is None and not self._followed and not own.sensor.sends_rr
        self.quiet_until = UNTIL_NEWS if may_sleep else 0
        if source is None:
            return GOOD if own.new_readings else UNSURE
        if self._by_rr or source.unlike < self._limits.clear_unlike:
            return BAD
        self._lose_source()
        return GOOD

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        source = self.repeats
        label = source.label if source else "another sensor"
        what = "the RR intervals" if self._by_rr else "the values"
        score = self._source.score if self._source else 0.0
        return Explanation(
            f"{self.name} only repeats {what} of {label}, {self._lag_s:.1f} s later: its "
            "agreement with it says nothing.",
            f"Stop it from taking the signal of {label} (look for its external sensor setting), "
            "or leave it out of the comparison.",
            (
                Measure("lag", self._lag_s, "s"),
                Measure("evidence of repetition", score, "", self._limits.raise_at),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return "It shows values of its own again."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._lose_source()
        self._by_rr = False
        self._unlike_s = 0
        for echo in self._followed:
            echo.forget()
        self._followed.clear()
        self._forgotten = self._own.count

    def _lose_source(self) -> None:
        self._source = self._own.repeats = None

    def _compare_beats(self, second: int) -> None:
        """Hold the newest beats against those of the others, every few seconds."""
        limits, own = self._limits, self._own
        self._due = second + limits.every_s
        ours = list(own.beats)[-limits.compared_rr :]
        if len(ours) < limits.same_rr or len(set(ours)) < len(ours) // 5:
            return  # a list that hardly varies proves nothing
        candidates = self.echoes if self._source is None or not self._by_rr else (self._source,)
        for echo in candidates:
            lag_s = self._lag_of_beats(ours, echo)
            if lag_s is None:
                theirs = list(echo.source.beats)
                if len(theirs) >= limits.same_rr:
                    echo.one_heart.take(ours, theirs)
                continue
            self._unlike_s = 0
            if not (self._source and self._by_rr) and self._is_later(lag_s, echo):
                self._found(echo, lag_s, own.beat_times[-len(ours)], by_rr=True)
            return
        if self._by_rr:
            self._unlike_s += limits.every_s
            if self._unlike_s >= limits.clear_s:
                self._by_rr = False
                self._lose_source()

    def _lag_of_beats(self, ours: list[int], echo: Echo) -> float | None:
        """Median time by which these beats came later than the same of the other, or ``None``."""
        limits, source = self._limits, echo.source
        if len(source.beats) < limits.same_rr:
            return None
        stands = self._by_rr and self._source is echo
        share = limits.share_stands if stands else limits.share
        exact_share = limits.exact_stands if stands else limits.exact_share
        least = max(share * len(ours), 0 if stands else limits.same_rr)
        for factor in limits.units:
            plain = factor == 1.0
            match = match_among(
                ours,
                source.places_of_beats(factor),
                ahead=limits.lost_rr,
                least=least,
                least_exact=exact_share * least if plain else 0,
            )
            count = len(match.pairs)
            if count < least:
                continue
            if plain and match.exact < exact_share * count:
                continue  # two straps on one heart agree as well, but not to the last tick
            times, their_times = list(self._own.beat_times)[-len(ours) :], list(source.beat_times)
            lags = sorted(times[i] - their_times[j] for i, j in match.pairs)
            return lags[len(lags) // 2] / NS_PER_S
        return None

    def _compare_changes(self, second: int) -> None:
        """Weigh the new changes beside those who may be repeated: nearly always nobody."""
        own = self._own
        echoed = self._sightings.echoed(own)
        if not (echoed or self._followed):
            return
        for echo in self._followed:
            if not self._is_told_by_beats(echo, second):
                for change in own.new_changes:
                    echo.take(change)
        for echo in self.echoes:
            if echo.source not in echoed or echo.is_followed:
                continue
            if not self._is_told_by_beats(echo, second):
                self._follow(echo)
                # From the changes that made it suspect on, and from before them.
                for change in self._remembered():
                    echo.take(change)
        if self._source is None:
            self._look_for_source()
        self._drop_unlike(echoed)

    def _remembered(self) -> list[Change]:
        count = self._own.count - self._forgotten
        return list(self._own.changes)[-count:] if count else []

    def _look_for_source(self) -> None:
        own = self._own
        for echo in self.echoes:
            if echo.score >= self._limits.raise_at and self._is_later(echo.lag_s, echo):
                first = max(0, len(own.changes) - len(echo.lags))
                self._found(echo, echo.lag_s, own.changes[first][0], by_rr=False)
                return

    def _drop_unlike(self, echoed: Collection[Stream]) -> None:
        """Those without evidence need not be followed, until they are suspect again."""
        kept = []
        for echo in self._followed:
            if echo.score or echo is self._source or echo.source in echoed:
                kept.append(echo)
            else:
                echo.forget()
        self._followed = kept

    def _follow(self, echo: Echo) -> None:
        if not echo.is_followed:
            echo.is_followed = True
            self._followed.append(echo)

    def _is_told_by_beats(self, echo: Echo, second: int) -> bool:
        """Two that send RR are told by these, unless the RR of one are no heart's at all."""
        clear_s = self._limits.clear_s
        if not (self._own.beats and echo.source.beats) or second - self._beat_s > clear_s:
            return False
        return not echo.one_heart.is_denied

    def _is_later(self, lag_s: float, echo: Echo) -> bool:
        """Whether this one is the repeater, by when the same arrived.

        A reference is the repeater only if it is clearly later, on one clock; else the other is.
        Two test sensors at the same moment: the later in the plan.
        """
        own, other = self.watched, echo.source.sensor
        if echo.source.repeats is own:
            return False  # and not the other way round as well
        one_clock = own.planned.shares_clock(other.planned)
        if own.is_reference:
            return one_clock and lag_s >= self._limits.reference_lag_s
        if other.is_reference:
            return not one_clock or lag_s > -self._limits.reference_lag_s
        if abs(lag_s) < self._limits.tie_s:
            return self.sensor > other.number
        return lag_s > 0

    def _found(self, echo: Echo, lag_s: float, since_ns: int, *, by_rr: bool) -> None:
        if self._source is None:
            self._since = since_ns // NS_PER_S
            echo.unlike = 0
        self._follow(echo)
        self._source = echo
        self._own.repeats = echo.source.sensor
        self._lag_s = max(0.0, lag_s)
        self._by_rr = by_rr
