"""The board as messages for a broker: which topic says what, as ``published.schema.json`` lists it.

Everything stands under one prefix::

    state                     what can be believed of the rest: recording, ended, gone
    session                   who, what, with which sensors
    sensors/LABEL/reading     as they come
    sensors/LABEL/status      its link and what it says of itself
    sensors/LABEL/agreement   of a test sensor with the reference
    warnings                  those that stand
    warnings/event            the start and the end of each

A message names no address, no serial number and no file, and no wearer but by the code.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib import resources
from typing import Final, NamedTuple
from urllib.parse import quote

from analysis.board.snapshot import SensorStatus, SensorWarning, Snapshot, WarningKind
from analysis.report.words import started_text
from live.notify.facts import agreement_facts, identity_facts, plan_facts, status_facts
from live.notify.message import warning_facts
from live.notify.readings import NewReadings
from live.protocol.alarm import Alarm
from replay.event import NS_PER_S
from replay.plan import Plan

FORMAT: Final = 1
"""Version of the messages: another one where a key goes or means something else."""
RECORDING: Final = "recording"
ENDED: Final = "ended"
GONE: Final = "gone"

_OF_THE_SOURCE: Final = {
    WarningKind.SILENT: "See that it is on, charged and near",
    WarningKind.NOT_STARTED: "Switch it on and bring it near",
    WarningKind.BROKER_AWAY: "Look after the network and the broker",
}
"""What to do, where the advice on the screen may be the source's own: that names addresses, users
and what others have published."""
_MORE: Final = "; the screen of the recording says more."


class Message(NamedTuple):
    """``topic``: in full; ``facts``: without the head that :meth:`BoardMessages.text` adds."""

    topic: str
    facts: dict[str, object]


class BoardMessages:
    """The messages of one session.  ``started_utc_ns``: when it began, ns since 1970."""

    def __init__(self, plan: Plan, started_utc_ns: int) -> None:
        self._plan = plan
        self._started_utc = started_text(started_utc_ns)
        self.state_topic: Final = f"{plan.prefix}/state"
        self.any_sensor: Final = f"{plan.prefix}/sensors/+/+"
        """Filter for what there is of sensors, of whatever session."""

    def is_ours(self, topic: str) -> bool:
        """Whether a topic under the sensors is one of this session's."""
        return any(topic.startswith(f"{self._sensor(s.label)}/") for s in self._plan.sensors)

    def text(self, facts: dict[str, object], session: str, at_ns: int) -> str:
        """A message about the session as JSON; ``at_ns``: the moment, of the capture clock."""
        head = {"session": session, "started_utc": self._started_utc, "at_s": _seconds(at_ns)}
        return _json(head | facts)

    def state_text(self, state: str, publisher: str, at_ns: int | None, left_out: int) -> str:
        """What can be believed of the other messages.

        ``publisher``: a word of its own for each; ``at_ns``: ``None`` where nobody knows;
        ``left_out``: messages that were not sent, since the broker was away or slow.
        """
        return _json(
            {
                "format": FORMAT,
                "state": state,
                "started_utc": self._started_utc,
                "at_s": None if at_ns is None else _seconds(at_ns),
                "publisher": publisher,
                "left_out_messages": left_out,
            }
        )

    def session(self, snapshot: Snapshot, alarm: Alarm | None, how: str | None) -> Message:
        """``how``: in which way the session ended; ``None`` while it is recorded."""
        plan = self._plan
        return Message(
            f"{plan.prefix}/session",
            {
                "format": FORMAT,
                **plan_facts(plan),
                "alarm": None if alarm is None else alarm.headline.lower(),
                "how_ended": how,
                "duration_s": None if how is None else _seconds(snapshot.t_ns),
                "sensors": [
                    identity_facts(status)
                    | {
                        "hold_s": plan.sensor(status.number).hold_s,
                        "topic": self._sensor(status.label),
                    }
                    for status in snapshot.sensors
                ],
            },
        )

    def reading(self, status: SensorStatus, halted: str, new: NewReadings, now_ns: int) -> Message:
        """``halted``: what stands in the place of the sensor's state; empty: that itself."""
        mbpm = new.newest.valid_mbpm
        return Message(
            f"{self._sensor(status.label)}/reading",
            {
                "label": status.label,
                "bpm": None if mbpm is None else mbpm / 1000,
                "age_s": _seconds(max(now_ns - new.t_ns, 0)),
                "state": halted or status.state,
                "contact": new.newest.contact,
                "rr_ms": list(new.rr_ms),
                "readings": new.count,
            },
        )

    def status(self, status: SensorStatus, halted: str) -> Message:
        """As :meth:`reading`."""
        return Message(
            f"{self._sensor(status.label)}/status",
            identity_facts(status)
            | {
                "state": halted or status.state,
                "contact": status.contact,
                "signal_dbm": status.signal_dbm,
            }
            | status_facts(status),
        )

    def agreement(self, status: SensorStatus, snapshot: Snapshot) -> Message:
        """Of a test sensor: at the last closed second, and over the windows that end with it."""
        return Message(
            f"{self._sensor(status.label)}/agreement",
            {
                "label": status.label,
                "seconds": snapshot.second + 1,
                "left_out_s": snapshot.left_out_s,
                "difference_bpm": status.difference_bpm,
                "within_tolerance": status.within,
                "delay_s": status.delay_s,
            }
            | agreement_facts(status),
        )

    def warnings(self, standing: Sequence[SensorWarning]) -> Message:
        """Those that stand, the gravest first."""
        facts = [self._warning(warning) for warning in standing]
        return Message(f"{self._plan.prefix}/warnings", {"standing": facts})

    def warning_event(self, event: str, warning: SensorWarning) -> Message:
        """``event``: ``start`` or ``end``."""
        topic = f"{self._plan.prefix}/warnings/event"
        return Message(topic, {"event": event} | self._warning(warning))

    def _warning(self, warning: SensorWarning) -> dict[str, object]:
        facts = warning_facts(warning, self._plan)
        facts["advice"] = advice_elsewhere(warning)
        return facts

    def _sensor(self, label: str) -> str:
        return f"{self._plan.prefix}/sensors/{level_of(label)}"


def advice_elsewhere(warning: SensorWarning) -> str:
    """What to do, in words that may leave this computer."""
    ours = _OF_THE_SOURCE.get(warning.kind)
    return warning.advice if ours is None else ours + _MORE


def schema_text() -> str:
    """The JSON Schema (2020-12) of all messages: each is one of its ``$defs``."""
    return resources.files("live.notify").joinpath("published.schema.json").read_text("utf-8")


def level_of(label: str) -> str:
    """A label as one level of a topic: percent-encoded as in addresses (RFC 3986), so that no sign
    of it has a meaning there, and nothing is lost.

    >>> level_of("Sorrel 2/left"), level_of("+")
    ('Sorrel%202%2Fleft', '%2B')
    """
    return quote(label, safe="")


def _seconds(t_ns: int) -> float:
    return round(t_ns / NS_PER_S, 3)


def _json(facts: dict[str, object]) -> str:
    return json.dumps(facts, ensure_ascii=False, allow_nan=False)
