"""What has changed since a viewer was last told: little for a slow network, and never a queue.

Each viewer has one of these.  Whoever is slow is given, when there is room, what has changed up to
then: the states between are never sent.
"""

from __future__ import annotations

from collections.abc import Sequence

from live.views.page.facts import Point, State


class Told:
    """What one viewer knows."""

    def __init__(self) -> None:
        self._state: State = {}
        self._second = -1

    def news(self, state: State, points: Sequence[Point]) -> State:
        """What to send so that the viewer knows this; empty if nothing has changed.

        ``set``: keys with their new values; ``gone``: keys that are no more; ``points``: new
        seconds of the drawing; ``afresh``: those before them are no more.
        """
        found: State = {}
        changed = {
            key: value
            for key, value in state.items()
            if key not in self._state or self._state[key] != value
        }
        if changed:
            found["set"] = changed
        if gone := [key for key in self._state if key not in state]:
            found["gone"] = gone
        newest = points[-1][0] if points else -1
        if newest < self._second:
            self._second = -1
            found["afresh"] = True
        if new := [[second, *values] for second, values in points if second > self._second]:
            found["points"] = new
            self._second = newest
        self._state = dict(state)
        return found
