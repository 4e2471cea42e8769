"""A capture file played back to a view: at a chosen pace, paused, stepped, or flat out.

The player is driven by ``poll`` alone and reads no clock but the one it is given, so that an hour
of playback is tested in milliseconds.  What comes out cannot be told from a live capture: the
same events in the same order, and ticks between them so that the board's time runs on while
nothing arrives.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from typing import Final, NamedTuple, Self

from analysis.session.place import Place
from live.protocol.feed import Acknowledged, Checkpoint, Ended, Message, Rewound, Tick
from live.protocol.places_ahead import PlacesAhead
from replay.capture import Capture
from replay.event import Event
from replay.plan import Plan
from replay.text import printable

SLOWEST: Final = 0.5
FASTEST: Final = 60.0
"""Above this the eye follows nothing; flat out (``None``) is then the honest choice."""

SLICE: Final = 2_000
"""Events handed over by one ``poll`` at most: about 20 ms of a board's work, so that a view still
draws while it runs flat out or catches up after a seek."""

PLACE_EVENTS: Final = 10_000
"""Events between two places that the player can come back to: half a second of a board's work."""

MOST_PLACES: Final = 12
"""Boards that a view keeps; beyond that every second one is let go, and the distance doubles."""


class _Kept(NamedTuple):
    """Where a view was told to keep its board, and under which number."""

    number: int
    place: Place


_START: Final = _Kept(0, Place())
_AHEAD: Final = -1
"""Number of a place whose board comes with the message."""


class FileFeed:
    """A :class:`~live.protocol.feed.Feed` on a capture file, with the controls of a player.

    ``speed``: times life, 0.5 to 60, or ``None`` for as fast as the view takes it.  ``clock``:
    the wall clock in nanoseconds.  Raises :class:`~replay.errors.CaptureError` if the file
    cannot be read, ``ValueError`` for a speed out of range.  ``places``: whether a view that goes
    back begins from the nearest place where it kept its board, instead of from the start.
    ``ahead``: whether it may jump to where it has not been by boards from the user's cache, which
    are made there in the background for a long recording.
    """

    is_live: Final = False
    silent_s: Final = 0.0
    shows_ahead = True
    """Whether a view may show, paler, what comes after the position."""

    def __init__(
        self,
        path: Path,
        speed: float | None = 1.0,
        *,
        clock: Callable[[], int] = time.monotonic_ns,
        places: bool = True,
        ahead: bool = False,
    ) -> None:
        self._places: list[_Kept] = []
        self._place_numbers = 0
        self._spacing = PLACE_EVENTS if places else 0
        self._speed = _checked(speed)
        self._clock = clock
        self._capture = Capture.open(path)
        self._end_ns = self._capture.duration_ns
        self._ahead = PlacesAhead(self._capture) if ahead else None
        self._extra: deque[Message] = deque()
        self._commands = 0
        self._playing = True
        self._position_ns = 0
        self._wall_ns = clock()
        self._goal_ns: int | None = None
        self._goal_count: int | None = None
        self._wishes: deque[Callable[[], None]] = deque()
        self._start_over()

    # What is shown

    @property
    def capture(self) -> Capture:
        """The capture that is played; notes may be added to it."""
        return self._capture

    @property
    def plan(self) -> Plan:
        """The plan stored in the capture, with the labels that count now."""
        return self._capture.plan

    @property
    def title(self) -> str:
        """The file's name, and what is missing in it if anything is."""
        name = printable(Path(self._capture.path).name)
        missing = self._capture.wholeness.words
        return f"{name} ({missing})" if missing else name

    @property
    def started_utc_ns(self) -> int:
        """UTC at which the session began, ns since 1970."""
        return self._capture.started_utc_ns

    # The player

    @property
    def speed(self) -> float | None:
        """Times life; ``None`` is flat out."""
        return self._speed

    @speed.setter
    def speed(self, speed: float | None) -> None:
        self._speed = _checked(speed)
        self._wall_ns = self._clock()

    @property
    def playing(self) -> bool:
        """Whether time runs; false while paused and at the end."""
        return self._playing and not self._finished

    @property
    def position_ns(self) -> int:
        """Capture time up to which events have been handed over."""
        return self._position_ns

    @property
    def duration_ns(self) -> int:
        """Length of the capture."""
        return self._end_ns

    @property
    def taken(self) -> int:
        """How many events of the capture lie up to here."""
        return self._at.taken

    @property
    def catching_up(self) -> bool:
        """Whether a seek or step is on its way; the next polls bring the events up to it."""
        return self._underway or bool(self._wishes)

    def play(self) -> None:
        """Run on from here; at the end, from the start."""
        if self._finished and not self.catching_up:
            self.seek(0)
        self._wall_ns = self._clock()
        self._playing = True

    def pause(self) -> None:
        """Stop the time here."""
        self._playing = False

    def seek(self, t_ns: int) -> None:
        """Go to this capture time; playing or paused as before.

        The events up to there follow; backward, or far forward where the player has been before,
        after a :class:`~live.protocol.feed.Rewound`, those from the nearest place or the start.
        """
        self._wishes.clear()
        self._aim(t_ns)

    def reload(self) -> None:
        """Hand over everything up to here once more, from the start: the plan has changed."""
        self._wishes.clear()
        goal = self._goal_ns if self._goal_ns is not None else self._position_ns
        self._places.clear()
        if self._ahead is not None:
            self._ahead.close()  # what is in the cache is of the capture as it was
        self._go_to(_START, afresh=True)
        self._aim(goal)

    def skip(self, by_ns: int) -> None:
        """Go on by this time, back if it is negative, from where an earlier wish has led."""
        if self._underway:
            self._wishes.append(lambda: self.skip(by_ns))
        else:
            self._aim(self._position_ns + by_ns)

    def step(self, count: int = 1) -> None:
        """Pause and go on by ``count`` notifications, back if it is negative.

        Back from between two notifications is to the earlier of them.
        """
        self.pause()
        if self._underway:
            self._wishes.append(lambda: self.step(count))
            return
        if count < 0 and self._position_ns > self._at.newest_ns:
            count += 1
        goal = max(self._at.notifications + count, 0)
        if count <= 0:
            self._go_to(self._nearest(lambda place: place.notifications < goal))
        self._goal_ns = None
        self._goal_count = goal

    # The feed

    def poll(self) -> list[Message]:
        """What is due now: at most :data:`SLICE` events, and a tick if none was left out."""
        messages: list[Message] = list(self._extra)
        self._extra.clear()
        now_ns = self._clock()
        if self._ahead is not None and self._ahead.look() and self._goal_ns is not None:
            self._aim(self._goal_ns)
            messages += self._extra
            self._extra.clear()
        if self._wishes and not self._underway:
            self._wishes.popleft()()
            messages += self._extra
            self._extra.clear()
        if self._goal_count is not None:
            self._take_count(messages, self._goal_count)
        elif self._goal_ns is not None:
            if self._take_until(messages, self._goal_ns):
                self._goal_ns = None
        elif self.playing:
            due_ns = self._end_ns
            if self._speed is not None:
                passed_ns = round((now_ns - self._wall_ns) * self._speed)
                due_ns = min(self._position_ns + passed_ns, self._end_ns)
            self._take_until(messages, due_ns)
        self._wall_ns = now_ns
        return messages

    def send(self, action: str, **values: str | int) -> int:
        """Refused, with a sentence: there is no capture behind a file."""
        del values
        self._commands += 1
        self._extra.append(
            Acknowledged(
                self._commands, False, f"A recorded session is shown: {action} needs a live one."
            )
        )
        return self._commands

    def close(self) -> None:
        """Let go of the file."""
        if self._ahead is not None:
            self._ahead.close()
        self._capture.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def _underway(self) -> bool:
        return self._goal_ns is not None or self._goal_count is not None

    def _aim(self, t_ns: int) -> None:
        goal = min(max(t_ns, 0), self._end_ns)
        nearest = self._nearest(lambda place: place.t_ns <= goal)
        back = goal < self._position_ns or (self._finished and goal < self._end_ns)
        if back or nearest.place.taken > self._at.taken + SLICE:
            self._go_to(nearest)
        self._goal_ns = goal
        self._goal_count = None

    def _start_over(self) -> None:
        self._events: Iterator[Event] = iter(self._capture.events())
        self._next = next(self._events, None)
        self._position_ns = 0
        self._at = Place()
        self._finished = False

    def _nearest(self, is_before: Callable[[Place], bool]) -> _Kept:
        """The last place before a goal: of those that the view keeps, and of those ahead."""
        found = [kept for kept in self._places if is_before(kept.place)][-1:]
        if self._ahead is not None:
            found += [_Kept(_AHEAD, at) for at in self._ahead.places if is_before(at)][-1:]
        return max(found, key=lambda kept: kept.place.taken, default=_START)

    def _go_to(self, kept: _Kept, *, afresh: bool = False) -> None:
        board = None
        if kept.number == _AHEAD and self._ahead is not None:
            board = self._ahead.board(kept.place)
            if board is None:  # damaged after all: there are none any more
                kept = self._nearest(lambda place: place.taken <= kept.place.taken)
        self._start_over()
        place = kept.place
        if place.taken:
            self._events = islice(self._capture.events(place.t_ns), place.same, None)
            self._next = next(self._events, None)
            self._position_ns, self._at = place.t_ns, place
        self._extra = deque(m for m in self._extra if isinstance(m, Acknowledged))
        self._extra.append(Rewound(kept.number, afresh, board))

    def _keep(self, messages: list[Message]) -> None:
        """Make the present a place to come back to, if it is far enough behind the last one."""
        last = self._places[-1].place.taken if self._places else 0
        if not self._spacing or self._at.taken < last + self._spacing:
            return
        if self._ahead is not None and self._ahead.places:
            return
        forget: tuple[int, ...] = ()
        if len(self._places) == MOST_PLACES:
            forget = tuple(kept.number for kept in self._places[::2])
            self._places = self._places[1::2]
            self._spacing *= 2
        self._place_numbers += 1
        self._places.append(_Kept(self._place_numbers, self._at))
        messages.append(Checkpoint(self._place_numbers, forget))

    def _take(self, event: Event, messages: list[Message]) -> None:
        messages.append(event)
        self._at = self._at.after(event)
        self._position_ns = event.t_ns
        self._next = next(self._events, None)
        self._keep(messages)

    def _take_until(self, messages: list[Message], t_ns: int) -> bool:
        """Hand over the events up to ``t_ns``; false if a slice did not hold them all."""
        room = SLICE
        # The last moment takes everything with it, whatever the file says about its own end.
        while (event := self._next) is not None and (event.t_ns <= t_ns or t_ns >= self._end_ns):
            if room == 0:
                return False
            room -= 1
            self._take(event, messages)
        if not self._finished:
            self._position_ns = max(self._position_ns, t_ns)
            if self._next is None and self._position_ns >= self._end_ns:
                self._finish(messages)
            else:
                messages.append(Tick(t_ns))
        return True

    def _take_count(self, messages: list[Message], count: int) -> None:
        """Hand over events up to the notification with this number, counted from 1."""
        room = SLICE
        while self._at.notifications < count and (event := self._next) is not None:
            if room == 0:
                return
            room -= 1
            self._take(event, messages)
        self._goal_count = None
        if self._at.notifications < count and not self._finished:
            self._position_ns = self._end_ns
            self._finish(messages)

    def _finish(self, messages: list[Message]) -> None:
        self._finished = True
        reason = self._capture.end_reason if self._capture.clean else ""
        messages.append(
            Ended(self._end_ns, reason or "the recording breaks off here: it was never closed")
        )


def _checked(speed: float | None) -> float | None:
    if speed is not None and not SLOWEST <= speed <= FASTEST:
        raise ValueError(f"speed must lie between {SLOWEST:g} and {FASTEST:g}, got {speed:g}")
    return speed
