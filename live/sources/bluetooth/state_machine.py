"""What follows from what, for the link to one sensor: a table of states and happenings.

No radio and no clock in here: a driver carries out the step's action and reports the one
happening that came of it.  ``OUTCOMES`` lists what each action may report; a test proves that
the table answers all of them in every state in which the action can run.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final

from live.sources.bluetooth.timing import Timing
from replay.link import LinkState


class Happening(Enum):
    """What can happen to a link; the value completes a log line."""

    STARTED = "the session began"
    SEEN = "seen"
    CONNECTED = "linked"
    SUBSCRIBED = "subscribed"
    NOTIFIED = "notifications arrive"
    SILENT = "notifications stopped"
    RENEWED = "subscription renewed"
    DROPPED = "the link broke"
    FAILED = "it did not work"
    FORGOTTEN = "this computer no longer knows the sensor"
    REFUSED = "refused"
    OFF = "Bluetooth is off or gone"
    ON = "Bluetooth is back"
    DUE = "trying again"
    DUE_KNOWN = "trying again at the known address"


class Action(Enum):
    """What the driver does next."""

    SEARCH = "search"
    CONNECT = "connect"
    PREPARE = "prepare"
    WATCH = "watch"
    RENEW = "renew"
    PAUSE = "pause"
    AWAIT_ADAPTER = "await adapter"


S, H, A = LinkState, Happening, Action

FAILURES: Final = frozenset({H.DROPPED, H.FAILED, H.FORGOTTEN, H.REFUSED, H.OFF})
OUTCOMES: Final[Mapping[Action, frozenset[Happening]]] = {
    A.SEARCH: frozenset({H.SEEN, H.FAILED, H.OFF}),
    A.CONNECT: FAILURES | {H.CONNECTED},
    A.PREPARE: FAILURES | {H.SUBSCRIBED},
    A.WATCH: FAILURES | {H.NOTIFIED, H.SILENT},
    A.RENEW: FAILURES | {H.RENEWED},
    A.PAUSE: frozenset({H.DUE, H.DUE_KNOWN}),
    A.AWAIT_ADAPTER: frozenset({H.ON}),
}

_BROKEN: Final = {
    H.DROPPED: (S.LOST, A.PAUSE),
    H.FAILED: (S.LOST, A.PAUSE),
    H.FORGOTTEN: (S.LOST, A.PAUSE),
    H.REFUSED: (S.REFUSED, A.PAUSE),
    H.OFF: (S.ADAPTER_OFF, A.AWAIT_ADAPTER),
}
_AGAIN: Final = {H.DUE: (S.SEARCHING, A.SEARCH), H.DUE_KNOWN: (S.CONNECTING, A.CONNECT)}

TABLE: Final[Mapping[LinkState, Mapping[Happening, tuple[LinkState, Action]]]] = {
    S.WAITING: {H.STARTED: (S.SEARCHING, A.SEARCH)},
    S.SEARCHING: {
        H.SEEN: (S.CONNECTING, A.CONNECT),
        H.FAILED: (S.SEARCHING, A.SEARCH),
        H.OFF: (S.ADAPTER_OFF, A.AWAIT_ADAPTER),
    },
    S.CONNECTING: {H.CONNECTED: (S.PREPARING, A.PREPARE), **_BROKEN},
    S.PREPARING: {
        H.SUBSCRIBED: (S.PREPARING, A.WATCH),
        H.NOTIFIED: (S.STREAMING, A.WATCH),
        H.SILENT: (S.QUIET, A.RENEW),
        **_BROKEN,
    },
    S.STREAMING: {
        H.NOTIFIED: (S.STREAMING, A.WATCH),
        H.SILENT: (S.QUIET, A.RENEW),
        **_BROKEN,
    },
    S.QUIET: {
        H.RENEWED: (S.QUIET, A.WATCH),
        H.NOTIFIED: (S.STREAMING, A.WATCH),
        H.SILENT: (S.LOST, A.PAUSE),  # renewing did not help: make the link anew
        **_BROKEN,
    },
    S.LOST: _AGAIN,
    S.REFUSED: _AGAIN,
    S.ADAPTER_OFF: {H.ON: (S.SEARCHING, A.SEARCH)},
    S.STOPPED: {},
}


class Backoff:
    """Pauses that double from ``first_s`` to ``most_s``, each spread by ±20 %.

    The spread keeps several sensors that were lost together from trying in step.
    """

    def __init__(self, first_s: float, most_s: float, rng: random.Random) -> None:
        self._first_s = first_s
        self._most_s = most_s
        self._rng = rng
        self._count = 0

    def next_s(self) -> float:
        """The next pause, in seconds."""
        # Beyond 2**16 every pause is at its limit; the cap keeps days of trying from overflow.
        plain = min(self._most_s, self._first_s * 2.0 ** min(self._count, 16))
        self._count += 1
        return plain * self._rng.uniform(0.8, 1.2)

    def reset(self) -> None:
        """Begin with the shortest pause again."""
        self._count = 0


@dataclass(frozen=True, slots=True)
class Step:
    """The new state and what to do in it; ``pause_s`` and ``then`` belong to a pause."""

    state: LinkState
    action: Action
    pause_s: float = 0.0
    then: Happening = Happening.DUE


class LinkMachine:
    """Follows the table for one sensor and works out the pauses."""

    def __init__(self, timing: Timing, rng: random.Random) -> None:
        self._timing = timing
        self._lost = Backoff(timing.retry_s, timing.retry_most_s, rng)
        self._refused = Backoff(timing.refused_s, timing.refused_most_s, rng)
        self._streaming_since_s: float | None = None
        self._just_seen = False
        self.state = LinkState.WAITING

    def on(self, happening: Happening, now_s: float) -> Step:
        """Take one happening at ``now_s`` (any clock that does not go back)."""
        before = self.state
        self.state, action = TABLE[before][happening]
        self._count_steady(before, now_s)
        if self.state is LinkState.CONNECTING:
            self._just_seen = happening is Happening.SEEN
        if action is not Action.PAUSE:
            if happening is Happening.ON:
                self._lost.reset()
            return Step(self.state, action)
        if self.state is LinkState.REFUSED:
            return Step(self.state, action, self._refused.next_s())
        pause_s = self._lost.next_s()
        forgotten = happening is Happening.FORGOTTEN
        if forgotten and before is LinkState.CONNECTING and self._just_seen:
            pause_s = max(pause_s, self._timing.full_s)  # perhaps the adapter is full
        # A sensor that was linked a moment ago is tried directly once; if that fails, it must
        # be seen before it is tried again, so that a sensor out of reach does not keep the
        # others waiting for their turn to connect.
        known = before.is_up and not forgotten
        return Step(self.state, action, pause_s, Happening.DUE_KNOWN if known else Happening.DUE)

    def _count_steady(self, before: LinkState, now_s: float) -> None:
        if self.state is LinkState.STREAMING:
            if before is not LinkState.STREAMING:
                self._streaming_since_s = now_s
        elif before is LinkState.STREAMING and self._streaming_since_s is not None:
            if now_s - self._streaming_since_s >= self._timing.steady_s:
                self._lost.reset()
                self._refused.reset()
            self._streaming_since_s = None
