"""One topic of MQTT as a sensor: what is kept of it, what is counted, and what the tester is told.

A payload is stored as it came, on channel ``mqtt-hr``: a bare bpm as text or the bytes of a
heart-rate measurement; on ``mqtt-message``, behind the plan's form of it, where the values stand
somewhere inside.  What is malformed is stored too, and the decoder refuses it later; of a flood
of it the first of each second are, and the rest is counted.  Where the plan says that a sender
tells its own time, that is kept as the stamp of another clock, beside the arrival.
"""

from __future__ import annotations

from typing import Final

from live.sources.base import CaptureClock, Emit
from replay.channels import decode
from replay.errors import PayloadError
from replay.event import ADVICE, DOUBLED, LINK, MQTT_HEART_RATE, MQTT_MESSAGE, NS_PER_S, Stamp
from replay.foreign_time import SENDER
from replay.link_state import LinkState
from replay.message_form import UTC
from replay.payloads.mqtt_message import message_time_ns
from replay.plan import PlannedSensor
from replay.text import printable

QUIET_NS: Final = 5 * NS_PER_S
"""Silence after which a topic is called quiet; at least twice the sensor's age limit."""
LONGEST_SHOWN: Final = 60
"""Characters of a message that cannot be read which its sentence shows."""
FLOOD: Final = 50
"""Messages a second that no heart-rate sensor sends: the fastest send some 10 a second.  Of more in
one second only what can be read is kept: rubbish must not fill the disk."""
BEGUN_ANEW_NS: Final = 10 * NS_PER_S
"""A sender's own time that falls back by more is a count that has begun anew (it was switched off
and on, or its number was full); by less, a message that came late."""
LONGEST_PAYLOAD: Final = 512
"""The longest value of a Bluetooth attribute; more cannot be a heart rate."""
LONGEST_MESSAGE: Final = 4096
"""Where the plan says that the heart rate stands inside a message."""
_BARE: Final = (
    "a bare number of beats a minute, such as 142, or the bytes of the standard heart-rate "
    "measurement; for JSON, or bytes written as text, the plan says where the values stand "
    "(message = …)"
)


class Topic:
    """One sensor: its topic and where its link stands."""

    def __init__(self, number: int, sensor: PlannedSensor) -> None:
        self.number = number
        self.sensor = sensor
        self.state = LinkState.WAITING
        self._advice = ""
        self._last_ns = 0
        self._quiet_ns = max(QUIET_NS, 2 * sensor.hold_ns)
        self._form = sensor.message
        self._longest = LONGEST_MESSAGE if sensor.message else LONGEST_PAYLOAD
        self._left_out = 0
        self._why_left_out = ""  # not yet told
        self._told_left_out_ns = -NS_PER_S
        self._told_unreadable = False
        self._told_timeless = False
        self._newest_stamp_ns = -(2**63)
        self._count_of_clock = 1
        self._second = 0
        self._in_second = 0
        self._told_flood = False

    def begin(self, clock: CaptureClock, emit: Emit) -> None:
        """The capture begins: from here on it is looked for."""
        self._clock = clock
        self._emit = emit
        self.enter(LinkState.SEARCHING)

    def hear(self, t_ns: int, payload: bytes, *, stored: bool) -> None:
        """A message came; ``stored``: the broker had kept it, nobody knows for how long."""
        if stored:
            why = (
                f"a value that the broker had stored on {self.sensor.topic!r}: its age is not known"
            )
            self._leave_out(t_ns, why)
            return
        if len(payload) > self._longest:
            why = f"a message of {len(payload)} bytes, which cannot be a heart rate"
            self._leave_out(t_ns, why)
            return
        channel, kept = MQTT_HEART_RATE, payload
        if self._form is not None:
            channel, kept = MQTT_MESSAGE, self._form.wrap(payload)
        self._count(t_ns)
        if self._in_second > FLOOD and not _is_readable(channel, kept):
            why = f"what floods {self.sensor.topic!r} and cannot be read as a heart rate"
            self._leave_out(t_ns, why)
            return
        self._last_ns = t_ns
        if self.state is not LinkState.STREAMING:
            self.enter(LinkState.STREAMING, t_ns=t_ns)
        self._emit(t_ns, self.number, channel, kept, foreign=self._stamp(t_ns, kept))
        if not self._told_unreadable:
            self._tell_unreadable(t_ns, channel, kept, payload)

    def _stamp(self, t_ns: int, kept: bytes) -> Stamp | None:
        """The sender's own time of a message, where the plan says that there is one.

        No offset goes with it, since none is known: everything is reckoned by the arrival.
        """
        if self._form is None or not self._form.time:
            return None
        try:
            stamp_ns = message_time_ns(kept)
        except PayloadError as error:
            if not self._told_timeless:
                self._told_timeless = True
                said = (
                    f"A message on {self.sensor.topic!r} is kept without its time: {error.problem}."
                )
                self._emit(t_ns, self.number, ADVICE, said.encode())
            return None
        if stamp_ns is None:
            return None
        if self._form.time_clock == UTC:
            return Stamp(stamp_ns, f"{SENDER}{self.number}/utc")
        if stamp_ns < self._newest_stamp_ns - BEGUN_ANEW_NS:
            self._count_of_clock += 1
            self._newest_stamp_ns = stamp_ns
        self._newest_stamp_ns = max(self._newest_stamp_ns, stamp_ns)
        return Stamp(stamp_ns, f"{SENDER}{self.number}/{self._count_of_clock}")

    def hear_again(self, t_ns: int, payload: bytes) -> None:
        """A message that was heard before, delivered once more."""
        if len(payload) <= self._longest:
            self._emit(t_ns, self.number, DOUBLED, payload)

    def enter(self, state: LinkState, advice: str = "", t_ns: int | None = None) -> None:
        """Record a change of state, and the sentence that goes with it if it is a new one."""
        if t_ns is None:
            t_ns = self._clock.now_ns()
        if state is not self.state:
            self.state = state
            self._emit(t_ns, self.number, LINK, state.value.encode())
            if state is LinkState.STREAMING:
                self._advice = ""
        if advice and advice != self._advice:
            self._advice = advice
            self._emit(t_ns, self.number, ADVICE, advice.encode())

    def wait(self) -> None:
        """Subscribed, and nothing heard so far."""
        self.enter(
            LinkState.SEARCHING,
            f"Waiting for the first message on {self.sensor.topic!r}{self._so_far()}.",
        )

    def lose(self, state: LinkState, advice: str) -> None:
        """The connection ended or could not be made; a link that was up is lost first."""
        if self.state.is_up:
            self.enter(LinkState.LOST)
        self.enter(state, advice)

    def check_quiet(self) -> None:
        """See whether nothing comes any more, and tell what was left out since it was last told."""
        now_ns = self._clock.now_ns()
        if self._why_left_out and now_ns - self._told_left_out_ns >= NS_PER_S:
            self._tell_left_out(now_ns)
        silent_ns = now_ns - self._last_ns
        if self.state is LinkState.STREAMING and silent_ns > self._quiet_ns:
            self.enter(
                LinkState.QUIET,
                f"The broker is there, but nothing comes on {self.sensor.topic!r}; "
                "look at what publishes it.",
            )

    def _count(self, t_ns: int) -> None:
        """Say, once for each run of such seconds, that no sensor sends so fast."""
        second = t_ns // NS_PER_S
        if second != self._second:
            flood = self._in_second > FLOOD
            if flood and not self._told_flood:
                said = (
                    f"{self._in_second} messages a second come on {self.sensor.topic!r}, and all "
                    "that can be read are saved; no heart-rate sensor sends so many: look at what "
                    "publishes them."
                )
                self._emit(t_ns, self.number, ADVICE, said.encode())
            self._told_flood = flood
            self._second, self._in_second = second, 0
        self._in_second += 1

    def _tell_unreadable(self, t_ns: int, channel: str, kept: bytes, payload: bytes) -> None:
        """Once: what came, why it is none, and what would be one."""
        try:
            decode(channel, kept)
        except PayloadError as error:
            self._told_unreadable = True
            shown = printable(payload[:LONGEST_SHOWN].decode("utf-8", "replace"))
            more = "…" if len(payload) > LONGEST_SHOWN else ""
            why, expected = "", _BARE
            if self._form is not None:
                why, expected = f" ({error.problem})", self._form.expected
            self._emit(
                t_ns,
                self.number,
                ADVICE,
                f"A message on {self.sensor.topic!r} cannot be read as a heart rate{why}: "
                f"{shown}{more}  Expected is {expected}.".encode(),
            )

    def _leave_out(self, t_ns: int, why: str) -> None:
        """Count it, and say so: at once, but no more than once a second."""
        self._left_out += 1
        self._why_left_out = why
        if t_ns - self._told_left_out_ns >= NS_PER_S:
            self._tell_left_out(t_ns)

    def _tell_left_out(self, t_ns: int) -> None:
        self._advice = f"Left out {self._why_left_out}{self._so_far()}."
        self._why_left_out = ""
        self._told_left_out_ns = t_ns
        self._emit(t_ns, self.number, ADVICE, self._advice.encode())

    def _so_far(self) -> str:
        return f" ({self._left_out} left out so far)" if self._left_out else ""


def _is_readable(channel: str, payload: bytes) -> bool:
    try:
        decode(channel, payload)
    except PayloadError:
        return False
    return True
