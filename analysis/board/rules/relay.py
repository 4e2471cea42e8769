"""Relay: a "sensor" that only repeats another's signal; its agreement is worthless."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, SensorRule, Verdict
from analysis.board.rules.beat_match import match_beats
from analysis.board.rules.streams import Stream
from analysis.board.rules.thresholds import RELAY, RelayLimits
from analysis.board.snapshot import Measure, WarningKind
from replay.event import NS_PER_S

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


_LEAP_MBPM: Final = 2_000


class _Echo:
    """Evidence that the values of one stream are those of another a constant moment later."""

    __slots__ = (
        "_lag_s", "lags", "last_count", "missed", "other_heart_s", "score", "shown", "source",
        "unlike",
    )  # fmt: skip

    def __init__(self, source: Stream) -> None:
        self.source = source
        self.shown = source.shown
        self.score = 0.0
        self.unlike = 0
        self.last_count = 0
        self.missed = 0
        self.lags: deque[float] = deque(maxlen=15)
        self._lag_s: float | None = None
        self.other_heart_s = 0
        """Since so many seconds their beats have not been those of one heart."""

    def settle(self, limits: RelayLimits) -> None:
        """Weigh the values not found that have only been counted so far: nearly all are."""
        missed, self.missed = self.missed, 0
        if not missed:
            return
        self.unlike = min(self.unlike + missed, 2 * limits.clear_unlike)
        self.score -= limits.unlike * missed
        if self.score <= 0:
            self.score = 0.0
            self.lags.clear()
            self._lag_s = None

    @property
    def lag_s(self) -> float:
        """The middle of the lags kept; made anew only after one has come."""
        if self._lag_s is None:
            self._lag_s = sorted(self.lags)[len(self.lags) // 2] if self.lags else 0.0
        return self._lag_s

    def take_lag(self, lag_s: float) -> None:
        self.lags.append(lag_s)
        self._lag_s = None


class Relay(SensorRule):
    """Repeats the RR list of another sensor, or its values a constant moment later.

    Values count by how telling they are: any sensor passes through the next value of a rise, but
    only a repeater makes the same turns and the same leaps.
    """

    kind = WarningKind.RELAY

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        own: Stream,
        others: Sequence[Stream],
        limits: RelayLimits = RELAY,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._own = own
        self._echoes = tuple(_Echo(stream) for stream in others)
        self._source: _Echo | None = None
        self._lag_s = 0.0
        self._by_rr = False
        self._since = 0
        self._previous = -1
        self._up = 0
        self._due = 0
        self._unlike_s = 0
        self._beat_s = -1
        self._has_evidence = False
        self._most_lag_ns = round(limits.most_lag_s * NS_PER_S)

    @property
    def repeats(self) -> SensorState | None:
        """The sensor whose signal this one repeats, as far as is known."""
        return self._source.source.sensor if self._source else None

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        own = self._own
        if own.second != second:
            own.look(second)
        if own.new_beats or own.new_changes:
            for echo in self._echoes:
                if echo.source.second != second:
                    echo.source.look(second)
        if own.new_beats:
            if second >= self._due:
                self._compare_beats(second)
            self._beat_s = second
        elif second - self._beat_s > self._limits.clear_s:
            self._by_rr = False  # its RR have stopped: from here on its values tell
        if own.new_changes:
            self._compare_changes(second)
        source = self._source
        if source is None:
            return GOOD if own.new_readings else UNSURE
        source.settle(self._limits)
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
        if self._has_evidence:
            for echo in self._echoes:
                echo.settle(self._limits)
                echo.score = 0.0
        self._has_evidence = False

    def _lose_source(self) -> None:
        self._source = self._own.repeats = None

    def _compare_beats(self, second: int) -> None:
        """Hold the newest beats against those of the others, every few seconds."""
        limits, own = self._limits, self._own
        self._due = second + limits.every_s
        ours = list(own.beats)[-limits.compared_rr :]
        if len(ours) < limits.same_rr or len(set(ours)) < len(ours) // 5:
            return  # a list that hardly varies proves nothing
        candidates = self._echoes if self._source is None or not self._by_rr else (self._source,)
        for echo in candidates:
            lag_s = self._lag_of_beats(ours, echo)
            if lag_s is None:
                self._ask_whether_of_one_heart(ours, echo)
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

    def _lag_of_beats(self, ours: list[int], echo: _Echo) -> float | None:
        """Median time by which these beats came later than the same of the other, or ``None``."""
        limits, source = self._limits, echo.source
        theirs = list(source.beats)
        if len(theirs) < limits.same_rr:
            return None
        stands = self._by_rr and self._source is echo
        share = limits.share_stands if stands else limits.share
        exact_share = limits.exact_stands if stands else limits.exact_share
        least = max(share * len(ours), 0 if stands else limits.same_rr)
        times, their_times = list(self._own.beat_times)[-len(ours) :], list(source.beat_times)
        for factor in limits.units:
            plain = factor == 1.0
            match = match_beats(
                ours,
                theirs,
                factor=factor,
                most_off=limits.most_off if plain else limits.most_off_slipped,
                ahead=limits.lost_rr,
                least=least,
            )
            count = len(match.pairs)
            if count < least:
                continue
            if plain and match.exact < exact_share * count:
                continue  # two straps on one heart agree as well, but not to the last tick
            lags = sorted(times[i] - their_times[j] for i, j in match.pairs)
            return lags[len(lags) // 2] / NS_PER_S
        return None

    def _ask_whether_of_one_heart(self, ours: list[int], echo: _Echo) -> None:
        """Two that measure one heart send nearly the same RR, and agree in bpm by right."""
        limits, theirs = self._limits, list(echo.source.beats)
        if len(theirs) < limits.same_rr:
            return
        least = limits.one_heart_share * len(ours)
        match = match_beats(
            ours,
            theirs,
            factor=1.0,
            most_off=limits.one_heart_off,
            ahead=limits.lost_rr,
            least=least,
        )
        is_one = len(match.pairs) >= least
        echo.other_heart_s = 0 if is_one else echo.other_heart_s + limits.every_s

    def _compare_changes(self, second: int) -> None:
        self._has_evidence = True
        own, clear_s = self._own, self._limits.clear_s
        echoes: Sequence[_Echo] = self._echoes
        if own.beats and second - self._beat_s <= clear_s:
            # Two that send RR are told by these, unless the RR of one are no heart's at all.
            echoes = [e for e in echoes if not e.source.beats or e.other_heart_s >= clear_s]
        for t_ns, mbpm in own.new_changes:
            weight = self._weight(mbpm)
            oldest_ns = t_ns - self._most_lag_ns
            for echo in echoes:
                shown = echo.shown.get(mbpm)
                if shown is None:
                    echo.missed += 1
                    continue
                at_ns, count = shown[-1]
                if at_ns < oldest_ns or count <= echo.last_count:
                    echo.missed += 1
                else:
                    self._compare(echo, t_ns, shown, oldest_ns, weight)
        if self._source is not None:
            return
        raise_at = self._limits.raise_at
        for echo in echoes:
            if echo.score < raise_at:
                continue
            echo.settle(self._limits)
            if self._source is None and echo.score >= raise_at:
                lag_s = echo.lag_s
                if self._is_later(lag_s, echo):
                    first = max(0, len(own.changes) - len(echo.lags))
                    self._found(echo, lag_s, own.changes[first][0], by_rr=False)

    def _weight(self, mbpm: int) -> float:
        """How telling it is to show this value next."""
        limits = self._limits
        step = mbpm - self._previous if self._previous >= 0 else 0
        self._previous = mbpm
        up = (step > 0) - (step < 0)
        turned, self._up = up != self._up, up
        if turned:
            return limits.turn
        return limits.leap if abs(step) >= _LEAP_MBPM else limits.plain

    def _compare(
        self,
        echo: _Echo,
        t_ns: int,
        shown: Sequence[tuple[int, int]],
        oldest_ns: int,
        weight: float,
    ) -> None:
        limits = self._limits
        if echo.missed:
            echo.settle(limits)
        usual = echo.lag_s if len(echo.lags) >= 4 else None
        last_count, band_s = echo.last_count, limits.lag_band_s
        oldest = bisect_left(shown, (oldest_ns,))
        match, matched_s = 0, 0.0
        for place in range(len(shown) - 1, oldest - 1, -1):
            at_ns, count = shown[place]
            if count <= last_count:
                break
            lag_s = (t_ns - at_ns) / NS_PER_S
            if usual is None or abs(lag_s - usual) <= band_s:
                match, matched_s = count, lag_s
                break
        if not match:
            echo.missed = 1
            return
        echo.unlike = echo.unlike - 2 if echo.unlike > 2 else 0
        echo.last_count = match
        echo.take_lag(matched_s)
        # A value that the other shows again and again is matched at any lag.
        times = len(shown) - oldest
        by_chance = min(1.0, times * 2 * band_s / limits.most_lag_s)
        echo.score = min(echo.score + weight * (1 - by_chance), 2 * limits.raise_at)

    def _is_later(self, lag_s: float, echo: _Echo) -> bool:
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

    def _found(self, echo: _Echo, lag_s: float, since_ns: int, *, by_rr: bool) -> None:
        if self._source is None:
            self._since = since_ns // NS_PER_S
            echo.unlike = 0
        self._source = echo
        self._own.repeats = echo.source.sensor
        self._lag_s = max(0.0, lag_s)
        self._by_rr = by_rr
