"""The checks before a start: from waiting over ready to problem, each with a sentence.

A pure state machine on what a rehearsal sends: fed with messages, asked for results.  It runs the
same board as every view does; what a check adds is that things must hold for a while.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Final

from analysis.board import Board
from analysis.board.rules.thresholds import SIGNAL
from analysis.board.snapshot import SensorStatus
from live.protocol.feed import Ended, Message, Tick
from live.setup.beat_watch import HOLD_S, BeatWatch, Streak
from live.setup.folder import ROOM_BYTES, FolderFacts
from replay import event as ev
from replay.channels import HEART_RATE_CHANNELS, MEASURED_CHANNELS, decode
from replay.event import NS_PER_S, SESSION, Event, unpack_int
from replay.link_state import LinkState
from replay.payloads import HeartRate
from replay.plan import Plan

UNHEARD_S: Final = 30.0
"""Scanning takes up to 10 s, linking up to 10 s more: who is not heard after this needs a look."""
STALE_S: Final = 5.0
"""A sensor that was heard and has been silent for so long is away."""
LOW_BATTERY: Final = 15
"""Percent; enough for the session perhaps, but the tester should know before it begins."""
WEAK_DBM: Final = SIGNAL.fine_dbm
"""The same from which on the board no longer calls a signal weak."""
_EARLIEST: Final = datetime(2024, 1, 1, tzinfo=UTC)
"""Small computers without a battery-backed clock start in the past: this software is younger."""
_STUCK: Final = (LinkState.REFUSED, LinkState.ADAPTER_OFF)


class State(StrEnum):
    """Where a check stands; the value is the word on the screen."""

    WAITING = "waiting"
    READY = "ready"
    CAUTION = "ready, but"
    """It can begin, and the sentence says what may go wrong later."""
    PROBLEM = "problem"


@dataclass(frozen=True, slots=True)
class Check:
    """One check.  ``share``: how much of the waiting is done (0–1); ``sensor``: number or 0."""

    key: str
    title: str
    state: State
    sentence: str
    share: float = 0.0
    sensor: int = SESSION


class PreStart:
    """All checks of one rehearsal of a plan."""

    def __init__(self, plan: Plan, *, saving: bool = True) -> None:
        self.plan = plan
        self.board = Board(plan)
        self._saving = saving
        self._now_ns = 0
        self._contact = Streak()
        self._beats = BeatWatch()
        self._beats_hold = Streak()
        self._utc_ns: int | None = None
        self._jump_ns = -1
        self._jump_by_ns = 0
        self._newest_ns = [0] * (len(plan.sensors) + 1)
        self._last_reference_ns = 0

    def take(self, message: Message) -> None:
        """One message of the rehearsal's feed."""
        match message:
            case Event():
                self._now_ns = max(self._now_ns, message.t_ns)
                self.board.feed(message)
                self._look(message)
            case Tick(t_ns) | Ended(t_ns):
                self._now_ns = max(self._now_ns, t_ns)
                self.board.advance(t_ns)

    def results(self, folder: FolderFacts | None) -> tuple[Check, ...]:
        """Every check as it stands, the reference's first."""
        snapshot = self.board.snapshot(self._now_ns)
        reference = self.plan.reference
        status = snapshot.sensors[reference - 1]
        found = [self._contact_check(status), self._beats_check(status)]
        found += [self._heard(one) for one in snapshot.sensors if one.number != reference]
        if self._saving:
            found.append(_room(folder))
        found.append(self._clock())
        return tuple(found)

    # What comes

    def _look(self, event: Event) -> None:
        if event.sensor == SESSION:
            if event.channel == ev.ANCHOR:
                self._utc_ns = unpack_int(event.payload)
            elif event.channel == ev.JUMP:
                self._jump_ns = event.t_ns
                self._jump_by_ns = unpack_int(event.payload)
            return
        if event.channel in MEASURED_CHANNELS:
            self._newest_ns[event.sensor] = event.t_ns
        if event.sensor != self.plan.reference or event.channel not in HEART_RATE_CHANNELS:
            return
        try:
            reading = decode(event.channel, event.payload)
        except ValueError:
            return  # the board counts it
        if isinstance(reading, HeartRate):
            self._take_reference(event.t_ns, reading)

    def _take_reference(self, t_ns: int, reading: HeartRate) -> None:
        if t_ns - self._last_reference_ns > STALE_S * NS_PER_S:
            self._contact.end()
            self._beats.forget()
            self._beats_hold.end()
        self._last_reference_ns = t_ns
        if reading.valid_mbpm is None:
            self._contact.end()
        else:
            self._contact.hold(t_ns)
        self._beats.take(t_ns, reading)
        if self._beats.complaint() or reading.valid_mbpm is None:
            self._beats_hold.end()
        else:
            self._beats_hold.hold(t_ns)

    # What is made of it

    def _contact_check(self, status: SensorStatus) -> Check:
        title = f"{status.label} (reference): contact"
        key = "contact"
        absent = self._absent(status)
        if absent is not None:
            state, sentence = absent
            return Check(key, title, state, sentence, sensor=status.number)
        held_s = self._contact.seconds(self._now_ns)
        if held_s == 0:
            why = "It has no skin contact" if status.contact is False else "It sends no valid bpm"
            sentence = f"{why}: moisten the electrodes and tighten the strap by a finger."
            return Check(key, title, State.PROBLEM, sentence, sensor=status.number)
        told = "Skin contact" if status.contact else "Valid bpm (it does not tell its contact)"
        if held_s < HOLD_S:
            sentence = f"{told} for {held_s:.0f} of {HOLD_S:.0f} s."
            return Check(key, title, State.WAITING, sentence, held_s / HOLD_S, sensor=status.number)
        sentence = f"{told}, {_bpm(status)}{_battery(status)}."
        return Check(key, title, _or_caution(status), sentence, 1.0, sensor=status.number)

    def _beats_check(self, status: SensorStatus) -> Check:
        title = f"{status.label} (reference): beats"
        key = "beats"
        number = status.number
        if self._absent(status) is not None:
            return Check(key, title, State.WAITING, "Waiting for its readings.", sensor=number)
        if not self._beats.ever:
            if self._contact.seconds(self._now_ns) < HOLD_S:
                return Check(key, title, State.WAITING, "No RR interval so far.", sensor=number)
            sentence = (
                "It sends no RR intervals, so its beats cannot be checked: "
                "a bad seat will be noticed later than with a strap that sends them."
            )
            return Check(key, title, State.READY, sentence, 1.0, sensor=number)
        complaint = self._beats.complaint()
        if complaint:
            sentence = f"{complaint[0].upper()}{complaint[1:]}. Moisten and tighten the strap."
            return Check(key, title, State.PROBLEM, sentence, sensor=number)
        held_s = self._beats_hold.seconds(self._now_ns)
        if held_s < HOLD_S:
            sentence = f"RR intervals fit the time for {held_s:.0f} of {HOLD_S:.0f} s."
            return Check(key, title, State.WAITING, sentence, held_s / HOLD_S, sensor=number)
        sentence = f"RR intervals fit the time that passed, over {HOLD_S:.0f} s."
        return Check(key, title, State.READY, sentence, 1.0, sensor=number)

    def _heard(self, status: SensorStatus) -> Check:
        key = f"heard {status.number}"
        title = f"{status.label}: heard"
        number = status.number
        absent = self._absent(status)
        if absent is not None:
            return Check(key, title, *absent, sensor=number)
        if status.role == "companion":
            sentence = f"Heard, {status.rate_hz:.1f} notifications a second{_battery(status)}."
            return Check(key, title, _or_caution(status), sentence, 1.0, sensor=number)
        if status.contact is False:
            sentence = "Heard, but it has no skin contact: tighten it, or move it a little."
            return Check(key, title, State.PROBLEM, sentence, sensor=number)
        if status.age_s is None or status.age_s > STALE_S:
            sentence = "Heard, but it sends no valid bpm yet."
            late = self._now_ns > UNHEARD_S * NS_PER_S
            state = State.PROBLEM if late else State.WAITING
            return Check(key, title, state, sentence, sensor=number)
        sentence = f"{_bpm(status)}{_battery(status)}."
        return Check(key, title, _or_caution(status), sentence, 1.0, sensor=number)

    def _absent(self, status: SensorStatus) -> tuple[State, str] | None:
        """Why nothing can be said of a sensor yet; ``None`` if it is there."""
        heard = status.notifications > 0
        silent_s = self._silent_s(status.number)
        if heard and silent_s <= STALE_S:
            return None
        advice = f" {status.advice}" if status.advice else ""
        if status.link in _STUCK:
            return State.PROBLEM, f"Link: {status.link.value}.{advice}"
        if heard:
            return (
                State.PROBLEM,
                f"Silent for {silent_s:.0f} s (link: {status.link.value}).{advice}",
            )
        waited_s = self._now_ns / NS_PER_S
        if waited_s > UNHEARD_S:
            return State.PROBLEM, (
                f"Not heard for {waited_s:.0f} s (link: {status.link.value}): is it switched on, "
                f"near, and not linked to a phone?{advice}"
            )
        return State.WAITING, f"Link: {status.link.value}.{advice}"

    def _silent_s(self, number: int) -> float:
        """Seconds since a sensor's newest notification; since the start if there was none."""
        return (self._now_ns - self._newest_ns[number]) / NS_PER_S

    def _clock(self) -> Check:
        title = "This computer's clock"
        if self._utc_ns is None:
            return Check("clock", title, State.WAITING, "Waiting for the first look at it.")
        utc = datetime.fromtimestamp(self._utc_ns / 1e9, UTC)
        if problem := clock_problem(utc):
            return Check("clock", title, State.PROBLEM, problem)
        since_ns = self._now_ns - max(self._jump_ns, 0)
        steady_s = since_ns / NS_PER_S
        if self._jump_ns >= 0 and steady_s < HOLD_S:
            sentence = (
                f"It was set by {self._jump_by_ns / NS_PER_S:+.1f} s a moment ago; "
                "wait until it is steady."
            ).replace("-", "−")
            return Check("clock", title, State.PROBLEM, sentence)
        if steady_s < HOLD_S:
            sentence = f"Steady for {steady_s:.0f} of {HOLD_S:.0f} s."
            return Check("clock", title, State.WAITING, sentence, steady_s / HOLD_S)
        return Check("clock", title, State.READY, f"Steady over {HOLD_S:.0f} s.", 1.0)


def clock_problem(utc: datetime) -> str:
    """What is wrong with a computer's time, in one sentence; empty if nothing can be seen."""
    if utc < _EARLIEST:
        return f"It says {utc:%d %B %Y}, which is long past: set it, or wait for the network."
    return ""


def _room(facts: FolderFacts | None) -> Check:
    title = "The folder for the capture"
    if facts is None:
        return Check("folder", title, State.WAITING, "Looking at the disk.")
    if facts.problem:
        return Check("folder", title, State.PROBLEM, _sentence(facts.problem))
    free = f"{facts.free_bytes / 1e9:.1f} GB free"
    if facts.free_bytes < ROOM_BYTES:
        sentence = f"Only {free}: make room, or choose another folder."
        return Check("folder", title, State.PROBLEM, sentence)
    return Check("folder", title, State.READY, f"Can be written, {free}.", 1.0)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _bpm(status: SensorStatus) -> str:
    return "no bpm" if status.bpm is None else f"{status.bpm:.0f} bpm"


def _is_weak(status: SensorStatus) -> bool:
    return status.signal_dbm is not None and status.signal_dbm < WEAK_DBM


def _is_low(status: SensorStatus) -> bool:
    return status.battery_percent is not None and status.battery_percent < LOW_BATTERY


def _or_caution(status: SensorStatus) -> State:
    """Ready, unless battery or signal may not last."""
    return State.CAUTION if _is_low(status) or _is_weak(status) else State.READY


def _battery(status: SensorStatus) -> str:
    """Battery and a weak signal, with what to do about them."""
    words = ""
    if status.battery_percent is not None:
        low = ": low, charge or change it" if _is_low(status) else ""
        words = f", battery {status.battery_percent} %{low}"
    if _is_weak(status):
        signal = f"{status.signal_dbm}".replace("-", "−")
        words += f", signal {signal} dBm: weak, bring it or the computer nearer"
    return words
