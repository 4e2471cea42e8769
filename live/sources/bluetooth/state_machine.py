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
from replay.link_state import LinkState


class Happening(Enum):
    """What can happen to a link; the value completes a log line."""

    STARTED = "the session began"
    SEEN = "seen"
    TURN = "its turn"
    STALE = "not seen lately"
    CONNECTED = "linked"
    SUBSCRIBED = "subscribed"
    NOTIFIED = "notifications arrive"
    SILENT = "notifications stopped"
    RENEWED = "subscription renewed"
    DROPPED = "the link broke"
    FAILED = "it did not work"
    FORGOTTEN = "this computer no longer knows the sensor"
    FULL = "the adapter holds no more links"
    STRANGER = "it is another sensor"
    REFUSED = "refused"
    OFF = "Bluetooth is off or gone"
    ON = "Bluetooth is back"
    DUE = "trying again"


class Action(Enum):
    """What the driver does next."""

    SEARCH = "search"
    QUEUE = "queue"
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
    A.QUEUE: frozenset({H.TURN, H.STALE, H.FAILED}),
    A.CONNECT: FAILURES | {H.CONNECTED, H.FULL},
    A.PREPARE: FAILURES | {H.SUBSCRIBED, H.STRANGER},
    A.WATCH: FAILURES | {H.NOTIFIED, H.SILENT},
    A.RENEW: FAILURES | {H.RENEWED},
    A.PAUSE: frozenset({H.DUE}),
    A.AWAIT_ADAPTER: frozenset({H.ON}),
}

_BROKEN: Final = {
    H.DROPPED: (S.LOST, A.PAUSE),
    H.FAILED: (S.LOST, A.PAUSE),
    H.FORGOTTEN: (S.LOST, A.PAUSE),
    H.REFUSED: (S.REFUSED, A.PAUSE),
    H.OFF: (S.ADAPTER_OFF, A.AWAIT_ADAPTER),
}
_AGAIN: Final = {H.DUE: (S.SEARCHING, A.SEARCH)}

TABLE: Final[Mapping[LinkState, Mapping[Happening, tuple[LinkState, Action]]]] = {
    S.WAITING: {H.STARTED: (S.SEARCHING, A.SEARCH)},
    S.SEARCHING: {
        H.SEEN: (S.QUEUED, A.QUEUE),
        H.FAILED: (S.SEARCHING, A.SEARCH),
        H.OFF: (S.ADAPTER_OFF, A.AWAIT_ADAPTER),
    },
    S.QUEUED: {
        H.TURN: (S.CONNECTING, A.CONNECT),
        H.STALE: (S.SEARCHING, A.SEARCH),
        H.FAILED: (S.SEARCHING, A.SEARCH),
    },
    S.CONNECTING: {
        H.CONNECTED: (S.PREPARING, A.PREPARE),
        H.FULL: (S.LOST, A.PAUSE),
        **_BROKEN,
    },
    S.PREPARING: {
        H.SUBSCRIBED: (S.PREPARING, A.WATCH),
        H.NOTIFIED: (S.STREAMING, A.WATCH),
        H.SILENT: (S.QUIET, A.RENEW),
        H.STRANGER: (S.LOST, A.PAUSE),
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
    """The new state and what to do in it; ``pause_s`` belongs to a pause."""

    state: LinkState
    action: Action
    pause_s: float = 0.0


class LinkMachine:
    """Follows the table for one sensor and works out the pauses.

    A link that broke is made again on sight, without a pause.  Only an attempt to make one that
    failed, though the sensor was in sight, is followed by a pause, which grows until it streams.
    """

    def __init__(self, timing: Timing, rng: random.Random) -> None:
        self._failed = Backoff(timing.retry_s, timing.retry_most_s, rng)
        self._full = Backoff(timing.full_s, timing.full_most_s, rng)
        self._refused = Backoff(timing.refused_s, timing.refused_most_s, rng)
        self.failures = 0
        """Attempts in a row that did not lead to a stream."""
        self.state = LinkState.WAITING

    def on(self, happening: Happening) -> Step:
        """Take one happening."""
        before = self.state
        self.state, action = TABLE[before][happening]
        if self.state is LinkState.STREAMING or happening is Happening.ON:
            self.failures = 0
            for backoff in (self._failed, self._full, self._refused):
                backoff.reset()
        if action is not Action.PAUSE:
            return Step(self.state, action)
        return Step(self.state, action, self._pause_s(before, happening))

    def _pause_s(self, before: LinkState, happening: Happening) -> float:
        if self.state is LinkState.REFUSED:
            return self._refused.next_s()
        if before not in (LinkState.CONNECTING, LinkState.PREPARING):
            return 0.0  # it streamed: on sight
        self.failures += 1
        if happening is Happening.FULL:
            return self._full.next_s()
        # Forgotten between being seen and being linked: it needs to be seen anew, not to rest.
        first = self.failures == 1
        return 0.0 if happening is Happening.FORGOTTEN and first else self._failed.next_s()
