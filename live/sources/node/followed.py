"""One node as a capture follows it: whose run it is, what its clock says, what was heard of it.

Nothing here waits or sends: it is fed with messages and times, and says what to ask next.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from typing import Final

from live.sources.base import BoundedTranslation, Emit
from live.sources.node import wire
from live.sources.node.clock_line import ClockLine, Exchange
from replay.event import ADVICE, LINK, NS_PER_S, Stamp
from replay.foreign_time import HOLD_BACK_NS
from replay.link_state import LinkState
from replay.plan import PlannedSensor

SILENT_NS: Final = 5 * NS_PER_S
"""A node that answers nothing for so long is away; it is asked once a second."""
JOIN_NS: Final = 3 * NS_PER_S
"""How long the clock may take to be known before events are taken without."""
STUCK_NS: Final = NS_PER_S
"""Missed events are asked for again after so long without any."""
MOST_ASKED: Final = 64
"""Questions whose answer is waited for."""

_log = logging.getLogger(__name__)


class FollowedNode:
    """``sensors``: those of the plan that this node listens to, by number."""

    def __init__(self, name: str, sensors: Mapping[int, PlannedSensor], reader: str) -> None:
        self.name: Final = name
        self.run = ""
        self._sensors = sensors
        self._reader = reader
        self._links = {number: _Link(number) for number in sensors}
        self._numbers: dict[int, int] = {}  # the node's number of a sensor: ours
        self._states: dict[str, wire.State] = {}
        self._line = ClockLine()
        self._over: dict[str, BoundedTranslation] = {}
        self._sent: dict[int, int] = {}
        self._asked = 0
        self._runs = 0
        self._followed_ns = 0
        self._heard_ns = 0
        self._moved_ns = 0
        self._next: int | None = None
        self._missing = False
        self._is_late = False
        self._told: set[str] = set()
        self._again: list[int] = []  # the node's numbers of sensors that are to be tried again
        self.late = 0
        """Events that came longer after they happened than the board waits for."""
        self.lost = 0
        """Events that the node no longer keeps: they are in its own capture alone."""
        self.refused = 0
        """Messages that made no sense, or were not of the run that is followed."""

    def begin(self, t_ns: int, emit: Emit) -> None:
        """The capture has begun."""
        self._emit = emit
        for link in self._links.values():
            self._enter(t_ns, link, LinkState.SEARCHING)

    def lose(self, t_ns: int, state: LinkState, sentence: str) -> None:
        """The node is out of reach; why."""
        for link in self._links.values():
            if link.shown.is_up:
                self._enter(t_ns, link, LinkState.LOST)
            self._enter(t_ns, link, state, sentence)

    def wait(self, t_ns: int) -> None:
        """The broker is there again; the node has not said anything yet."""
        self._heard_ns = max(self._heard_ns, t_ns)
        if not self.run:
            self.lose(t_ns, LinkState.SEARCHING, f"Waiting for the node {self.name!r}.")

    def check_silence(self, t_ns: int) -> None:
        """See the node fall silent."""
        if self.run and t_ns - self._heard_ns > SILENT_NS:
            self.lose(
                t_ns, LinkState.SEARCHING, f"The node {self.name!r} does not answer any more."
            )

    @property
    def is_new(self) -> bool:
        """Whether its clock is to be asked often."""
        return self._line.now is None

    def question(self, now_ns: int) -> wire.Ask:
        """The next question; it is to be sent at once."""
        self._asked += 1
        self._sent[self._asked] = now_ns
        if len(self._sent) > MOST_ASKED:
            del self._sent[next(iter(self._sent))]
        seq, facts = None, False
        if self.run and self._next is None:
            facts = self._line.now is not None or now_ns - self._followed_ns > JOIN_NS
        elif self._next is not None and self._wants(now_ns):
            seq = self._next
            self._moved_ns = now_ns
        again = self._again.pop(0) if self.run and self._again else 0
        return wire.Ask(self._reader, self._asked, facts, self.run, seq, again)

    def try_again(self, sensor: int) -> None:
        """Have the node try a sensor of the plan again at once, with the next question."""
        for theirs, ours in self._numbers.items():
            if ours == sensor and theirs not in self._again:
                self._again.append(theirs)

    def _wants(self, now_ns: int) -> bool:
        return self._missing and now_ns - self._moved_ns > STUCK_NS

    # What it says.

    def hear_state(self, t_ns: int, state: wire.State, *, retained: bool) -> None:
        """It is there, or gone, or another computer has its name."""
        if state.run == self.run:
            if not state.online:
                self._states.pop(state.run, None)
                self._heard_ns = t_ns - SILENT_NS  # another run may be followed at once
                self.lose(
                    t_ns, LinkState.SEARCHING,
                    f"The node {self.name!r} is off, or out of reach of the broker.",
                )  # fmt: skip
            return
        if not state.online:
            self._states.pop(state.run, None)
            if not self.run:
                self.lose(t_ns, LinkState.SEARCHING, f"The node {self.name!r} is not switched on.")
            return
        self._states = {**dict(list(self._states.items())[-3:]), state.run: state}
        if not self.run or (not retained and self._is_silent(t_ns)):
            self._follow(t_ns, state)

    def hear_answer(self, t_ns: int, answer: wire.Answer) -> bool:
        """Four stamps of both clocks, and how far it is; whether some of its events are missing and
        should be asked for at once.
        """
        if answer.run != self.run:
            self._meet(t_ns, answer.run)
            return False
        sent_ns = self._sent.pop(answer.n, None)
        if sent_ns is None:
            self.refused += 1
            return False
        self._heard_ns = t_ns
        stepped = self._line.add(Exchange(sent_ns, answer.received_ns, answer.sent_ns, t_ns))
        if stepped:
            self._advise_all(
                t_ns,
                f"The clock of the node {self.name!r} has stepped against this computer's (one of "
                "them slept?); it is measured anew.",
            )
        if answer.facts is not None and self._next is None:
            self._join(t_ns, answer)
        if self._next is None:
            return False
        if answer.first > self._next:
            self._miss(t_ns, answer.first - self._next)
            self._next = answer.first
        knew, self._missing = self._missing, answer.newest >= self._next
        if not self._missing:
            self._caught_up(t_ns)
        return not knew and self._wants(t_ns)

    def hear_events(self, t_ns: int, run: str, events: Sequence[wire.Told]) -> bool:
        """Some of its events; whether earlier ones are missing and should be asked for at once."""
        if run != self.run:
            self._meet(t_ns, run)
            return False
        self._heard_ns = t_ns
        if self._next is None or not events or events[-1].seq < self._next:
            return False
        if events[0].seq > self._next:
            if not self._missing:
                self._missing, self._moved_ns = True, t_ns - STUCK_NS - 1
                return True
            return False
        self._moved_ns = t_ns
        for told in events:
            if told.seq >= self._next:
                self._next = told.seq + 1
                self._take(t_ns, told)
        return False

    # Runs.

    def _is_silent(self, t_ns: int) -> bool:
        return t_ns - self._heard_ns >= SILENT_NS

    def _meet(self, t_ns: int, run: str) -> None:
        """A message of a run that is not followed: it is the next one, or somebody else's."""
        self.refused += 1
        state = self._states.get(run)
        if self.run and not self._is_silent(t_ns):
            self._advise_all(
                t_ns,
                f"Two computers call themselves the node {self.name!r}; only the first is "
                "listened to: give one of them another --name.",
            )
        elif state is not None:
            self._follow(t_ns, state)

    def _follow(self, t_ns: int, state: wire.State) -> None:
        self._keep_line()
        self._told.clear()
        self._line = ClockLine()
        self._sent.clear()
        self.run, self._next, self._missing = state.run, None, False
        self._runs += 1
        self._followed_ns = self._heard_ns = t_ns
        self._numbers = {}
        for number, planned in self._sensors.items():
            one = _match(planned, state.sensors)
            if one is not None:
                self._numbers[one.number] = number
            else:
                self._enter(
                    t_ns, self._links[number], LinkState.REFUSED,
                    f"The node {self.name!r} does not listen to {planned.label}: start it with "
                    "this plan.",
                )  # fmt: skip

    def _join(self, t_ns: int, answer: wire.Answer) -> None:
        """From here on its events are taken: of a run that began meanwhile, all."""
        if self._runs > 1:
            self._next = 1
            return
        self._next = answer.newest + 1
        for fact in answer.facts or ():
            number = self._numbers.get(fact.sensor)
            if number is None:
                continue
            if fact.channel == LINK:
                self._links[number].hear(fact.payload)
            else:
                self._emit(t_ns, number, fact.channel, fact.payload)

    # Events.

    def _take(self, t_ns: int, told: wire.Told) -> None:
        number = self._numbers.get(told.sensor)
        if number is None:
            return
        clock = wire.clock_name(self.name, self.run, self._line.count)
        now, offset_ns = self._line.now, None
        if now is not None:
            happened_ns = now.translation.to_capture_ns(told.t_ns)
            if self._runs > 1 and happened_ns < 0:
                return  # it was heard before this session
            offset_ns = happened_ns - told.t_ns
            if t_ns - happened_ns > HOLD_BACK_NS:
                self.late += 1
                self._is_late = True
        link = self._links[number]
        if told.channel == LINK:
            link.hear(told.payload)
            if link.told is None:
                return
            link.shown = link.told
        elif not link.shown.is_up and not self._is_late:
            self._show(t_ns, link)
        self._emit(
            t_ns, number, told.channel, told.payload,
            foreign=Stamp(told.t_ns, clock, offset_ns),
        )  # fmt: skip

    def _caught_up(self, t_ns: int) -> None:
        """All that it has told has been taken."""
        for number in self._numbers.values():
            self._show(t_ns, self._links[number])
        if self._is_late:
            self._is_late = False
            self._advise_all(
                t_ns,
                f"{self.late} notifications of the node {self.name!r} came late so far: they are "
                "saved at their time; the figures on the screen lack what they say of it.",
            )

    def _show(self, t_ns: int, link: _Link) -> None:
        """The link as the node told it last."""
        if link.told is not None and link.told is not link.shown:
            self._enter(t_ns, link, link.told)

    def _miss(self, t_ns: int, events: int) -> None:
        self.lost += events
        self._advise_all(
            t_ns,
            f"{self.lost} notifications of the node {self.name!r} are in its own capture only: "
            "bring them in afterwards with 'sidebeat import'.",
        )

    def _enter(self, t_ns: int, link: _Link, state: LinkState, advice: str = "") -> None:
        if state is not link.shown:
            link.shown = state
            self._emit(t_ns, link.number, LINK, state.value.encode())
        if advice and advice != link.advice:
            link.advice = advice
            self._emit(t_ns, link.number, ADVICE, advice.encode())
        elif state is LinkState.STREAMING:
            link.advice = ""

    def _advise_all(self, t_ns: int, sentence: str) -> None:
        if sentence in self._told:
            return
        self._told.add(sentence)
        _log.warning("%s", sentence)
        for number in self._sensors:
            self._emit(t_ns, number, ADVICE, sentence.encode())

    # The clock.

    def _keep_line(self) -> None:
        if self.run:
            for count, found in self._counts().items():
                self._over[wire.clock_name(self.name, self.run, count)] = found

    def _counts(self) -> dict[int, BoundedTranslation]:
        whole = self._line.whole
        present = {} if whole is None else {self._line.count: whole}
        return {**self._line.earlier, **present}

    @property
    def translations(self) -> dict[str, BoundedTranslation]:
        """What is known of each of its clocks by now, by name."""
        self._keep_line()
        return dict(self._over)


class _Link:
    """One sensor's link.  ``told``: by the node; ``shown``: in this capture."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.shown = LinkState.WAITING
        self.told: LinkState | None = None
        self.advice = ""

    def hear(self, payload: bytes) -> None:
        """What the node told; nothing if it is no state."""
        try:
            self.told = LinkState(payload.decode("ascii"))
        except ValueError:
            self.told = None


def _match(planned: PlannedSensor, sensors: Sequence[wire.NodeSensor]) -> wire.NodeSensor | None:
    """Which of a node's sensors is meant: by address, else by name, else by label and kind."""
    for one in sensors:
        if planned.address:
            if one.address.upper() == planned.address.upper():
                return one
        elif planned.name:
            if one.name == planned.name:
                return one
        elif (one.kind, one.label) == (planned.kind, planned.label):
            return one
    return None
