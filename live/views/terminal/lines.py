"""A session as plain lines, for pipes, logs and terminals that cannot be drawn on."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Final

from rich.console import Console
from rich.text import Text

from analysis.board.snapshot import SensorStatus, SensorWarning, Snapshot
from analysis.report.words import clock
from live.notify.notifier import Notifier
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel, rules_off
from live.views.terminal.screen import INVENTED
from live.views.terminal.tables import signed
from live.views.terminal.warning_lines import alarm_lines, warning_text
from replay.event import NS_PER_S

EVERY_S: Final = 10.0
"""Seconds of wall time between two status lines; warnings are printed at once."""

POLL_S: Final = 0.1

LINE_WIDTH: Final = 80
"""Of the block that says that a recording has ended unasked."""

LAST_CALL_S: Final = 3.0
"""Nobody can acknowledge an alarm here; its sound is heard once to its end."""


class Lines:
    """Turns the growth of a board into lines: each warning once when raised, once when cleared."""

    def __init__(self, model: ViewModel) -> None:
        self._model = model
        self._raised: set[int] = set()
        self._cleared: set[int] = set()
        self._known: set[int] = set()
        self._off = ""
        self._alarm = ""

    def news(self) -> Iterator[Text]:
        """Lines for what happened since the last call."""
        snapshot = self._model.snapshot()
        alarm = self._model.alarm
        if (alarm.headline if alarm else "") != self._alarm:
            self._alarm = alarm.headline if alarm else ""
            if alarm is None:
                yield Text(f"{clock(snapshot.t_ns / NS_PER_S):>8}  The recording goes on.")
            else:
                yield from alarm_lines(alarm, LINE_WIDTH)
        off = rules_off(snapshot)
        if off != self._off:
            self._off = off
            yield Text(f"{clock(snapshot.failed_rules[-1].second):>8}  {off}")
        for warning in self._model.board.warnings:
            if warning.number not in self._raised:
                self._raised.add(warning.number)
                yield Text(f"{clock(warning.start_s):>8}  ") + warning_text(warning, snapshot)
            if warning.acknowledged_s is not None and warning.number not in self._known:
                self._known.add(warning.number)
                yield Text(
                    f"{clock(warning.acknowledged_s):>8}  acknowledged: "
                    f"{_whose(warning, snapshot)}{warning.kind.value}"
                )
            if warning.end_s is not None and warning.number not in self._cleared:
                self._cleared.add(warning.number)
                yield Text(
                    f"{clock(warning.end_s):>8}  over: {_whose(warning, snapshot)}"
                    f"{warning.kind.value}, after "
                    f"{warning.end_s - warning.start_s} s.  {warning.cleared}".rstrip()
                )

    def status(self) -> Text:
        """One line with every sensor's value."""
        snapshot = self._model.snapshot()
        seconds = snapshot.t_ns / NS_PER_S
        if self._model.is_stale:
            return Text(f"{clock(seconds):>8}  nothing is heard any more: {self._model.halted}")
        return Text(f"{clock(seconds):>8}  {'; '.join(_said(s) for s in snapshot.sensors)}")


def follow_in_lines(
    model: ViewModel,
    console: Console,
    *,
    sleep: Callable[[float], None] = time.sleep,
    notifier: Notifier | None = None,
) -> int:
    """Print a feed as lines until it ends; returns 0, 130 after Ctrl-C, 1 if it ended unasked."""
    _print(console, opening(model.snapshot(), model))
    lines = Lines(model)
    said_at = time.monotonic()
    player = model.feed if isinstance(model.feed, FileFeed) else None
    stopping = False
    while model.ended is None:
        try:
            model.pump()
            for line in lines.news():
                _print(console, line)
            if notifier is not None:
                notifier.look(model)
                if trouble := notifier.trouble():
                    _print(console, Text(f"          {trouble}"))
            if time.monotonic() - said_at >= EVERY_S:
                said_at = time.monotonic()
                _print(console, lines.status())
            if player is None or player.speed is not None:
                sleep(POLL_S)
        except KeyboardInterrupt:
            if stopping or player is not None:
                return 130
            stopping = True
            model.feed.send("stop")
            _print(console, Text("Stopping: the sensors are let go and the file is closed."))
    if model.alarm is not None:
        if notifier is not None:
            sleep(LAST_CALL_S)
        return 1
    return 130 if stopping else 0


def opening(snapshot: Snapshot, model: ViewModel) -> Text:
    """What is about to be shown."""
    plan = model.plan
    text = Text(f"{model.feed.title}: {plan.wearer}, {plan.activity}; ")
    text.append(", ".join(f"{s.label} ({s.role}, {s.placement})" for s in snapshot.sensors))
    if plan.invented:
        text.append(f"\n{INVENTED}")
    return text


def _whose(warning: SensorWarning, snapshot: Snapshot) -> str:
    return f"{snapshot.sensors[warning.sensor - 1].label}: " if warning.sensor else ""


def _said(sensor: SensorStatus) -> str:
    if sensor.held_bpm is None:
        return f"{sensor.label} – ({sensor.state})"
    inside = {None: "", True: ", in", False: ", OUT"}[sensor.within]
    difference = (
        ""
        if sensor.difference_bpm is None
        else f" ({signed(sensor.difference_bpm, '+.0f')}{inside})"
    )
    return f"{sensor.label} {sensor.held_bpm:.0f}{difference}"


def _print(console: Console, text: Text) -> None:
    console.print(text, soft_wrap=True, highlight=False)
