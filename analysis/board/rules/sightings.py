"""Which sensors come to the same values as others: one look a second at all new values.

A sensor that repeats another, and one that is another, comes to nearly every value that the other
has just come to.  Nearly all sensors in nearly all seconds do not, and this is how that is known
without holding each against each.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final, TypeAlias

from analysis.board.rules.base import Rule
from analysis.board.rules.streams import Stream
from analysis.board.rules.thresholds import RELAY, SAME_SENSOR, RelayLimits, SameSensorLimits
from replay.event import NS_PER_S

_NEVER: Final = -(1 << 62)
_MOST_VALUES: Final = 4096
"""More than whole bpm there are: only a source that sends decimals comes to so many."""

_ROUNDED: Final = 1e-6
"""Sums in another order than those of the evidence itself."""

_Change: TypeAlias = tuple[int, int, float, list[int]]
"""The place of a stream, when it came to a value, how telling that is, and when each stream came to
that value last.
"""


class Sightings:
    """What the changes of all streams of a session say of their being alike.

    For each two it keeps how much evidence there can be at most that one repeats the other, as if
    each value that the other had shown lately had come at the right moment: where that is not
    enough nobody need look further.
    """

    def __init__(
        self,
        streams: Sequence[Stream],
        relay: RelayLimits = RELAY,
        same: SameSensorLimits = SAME_SENSOR,
    ) -> None:
        self._streams: Final = tuple(streams)
        self._lag_ns: Final = round(relay.most_lag_s * NS_PER_S)
        self._moment_ns: Final = round(same.window_s * NS_PER_S)
        self._limits: Final = relay
        # A value that was shown once within the longest lag is in the band of a lag by this chance.
        self._best: Final = 1 - 2 * relay.lag_band_s / relay.most_lag_s
        self._second = -1
        self._last: dict[int, list[int]] = {}
        self._never: Final = [_NEVER] * len(self._streams)
        # By place and place of the other: evidence as of the last change that the other had shown,
        # and what all changes up to that one would take.
        self._ahead: Final = [[0.0] * len(self._streams) for _ in streams]
        self._echoed: Final[dict[Stream, set[Stream]]] = {stream: set() for stream in streams}
        self._together: Final[dict[Stream, set[Stream]]] = {stream: set() for stream in streams}
        self._marked: Final[list[set[Stream]]] = []
        self._concerned: Final[set[Rule]] = set()
        self._told: Final[dict[Stream, list[Rule]]] = {stream: [] for stream in streams}

    def tell(self, rule: Rule, stream: Stream) -> None:
        """Have this rule asked when there is something to be seen of this stream."""
        self._told[stream].append(rule)

    def look(self, second: int) -> Collection[Rule]:
        """Take in this second, all streams with it; done on the first call for it.  The rules on
        those that are echoed or together now.
        """
        if second == self._second:
            return self._concerned
        self._second = second
        while self._marked:
            self._marked.pop().clear()
        self._concerned.clear()
        changes: list[_Change] = []
        last = self._last
        for place, stream in enumerate(self._streams):
            if stream.second != second:
                stream.look(second)
            for t_ns, mbpm, weight in stream.new_changes:
                shown = last.get(mbpm)
                if shown is None:
                    shown = last[mbpm] = self._never[:]
                shown[place] = t_ns
                changes.append((place, t_ns, weight, shown))
        if changes:
            # Once all are in: what arrived in one second is alike in either order.
            self._compare(changes)
        if len(last) > _MOST_VALUES:
            oldest_ns = second * NS_PER_S - self._lag_ns
            self._last = {mbpm: at for mbpm, at in last.items() if max(at) >= oldest_ns}
        return self._concerned

    def echoed(self, stream: Stream) -> set[Stream]:
        """Those that it may repeat, by its changes up to one in the second last looked at."""
        return self._echoed[stream]

    def together(self, stream: Stream) -> set[Stream]:
        """Those that came to a value at the same moment as this one in that second."""
        return self._together[stream]

    def _compare(self, changes: Sequence[_Change]) -> None:
        lag_ns, moment_ns, limits = self._lag_ns, self._moment_ns, self._limits
        unlike, enough = limits.unlike, limits.raise_at - _ROUNDED
        numbers = [stream.count - len(stream.new_changes) for stream in self._streams]
        for place, t_ns, weight, shown in changes:
            ahead, taken = self._ahead[place], unlike * numbers[place]
            numbers[place] += 1
            adds, oldest_ns, other = weight * self._best, t_ns - lag_ns, -1
            for at_ns in shown:
                other += 1
                if at_ns < oldest_ns or other == place:
                    continue
                score = ahead[other] - taken
                score = score + adds if score > 0 else adds
                if score >= enough:
                    score = min(score, 2 * limits.raise_at)
                    self._mark(self._echoed, place, other)
                ahead[other] = score + taken + unlike
                if -moment_ns <= t_ns - at_ns <= moment_ns:
                    self._mark(self._together, place, other)
                    self._mark(self._together, other, place)

    def _mark(self, of: dict[Stream, set[Stream]], place: int, other: int) -> None:
        stream = self._streams[place]
        found = of[stream]
        self._concerned.update(self._told[stream])
        found.add(self._streams[other])
        self._marked.append(found)
