"""Publishes the board over MQTT, for screens and programs elsewhere; the watcher owns it.

What a late joiner needs is kept by the broker (*retained*, at least once); a single reading is
told once (at most once), and is not sent behind by minutes.  While the broker is away nothing
piles up but the starts and ends of warnings: the rest is as of now when it is back.
"""

from __future__ import annotations

import json
import logging
import secrets
import time
from collections.abc import Callable
from typing import Final

from analysis.board.snapshot import SensorWarning, Snapshot
from live.notify.board_messages import ENDED, GONE, RECORDING, BoardMessages, Message
from live.notify.broker_client import FAREWELL_S, BrokerClient, Heard
from live.notify.readings import ReadingsWatch
from live.notify.retained import Retained
from live.protocol.alarm import CUT_OFF
from live.protocol.view_model import ViewModel
from replay.broker import Broker
from replay.event import NS_PER_S
from replay.plan import Plan

SIGN_OF_LIFE_S: Final = 10
"""How often the state is told again: a reader sees by it that somebody is still there."""
LEFTOVERS_S: Final = 3.0
"""How long what an earlier session has left under the prefix is looked for."""
LOSS: Final = "the board is not published"

_log = logging.getLogger(__name__)


class BoardPublisher:
    """Publishes the board of a view's model; ``look`` is called after each ``pump``.

    ``plan``: says where and under which prefix, if not the model's own (a replay's may name a
    broker of somebody else).
    Raises :class:`~replay.errors.PlanError` for a broker that cannot be meant.
    """

    def __init__(
        self,
        model: ViewModel,
        plan: Plan | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        plan = plan or model.plan
        self._model = model
        self._prefix = plan.prefix
        self._clock = clock
        self._messages = BoardMessages(plan, model.feed.started_utc_ns)
        self._me = secrets.token_hex(4)
        gone = self._messages.state_text(GONE, self._me, None, 0)
        self.client = BrokerClient(
            plan.broker or Broker(), LOSS, will=(self._messages.state_topic, gone), clock=clock
        )
        self.retained = Retained(self.client)
        self._told: dict[str, dict[str, object]] = {}  # what was last put, without its moment
        self._readings = ReadingsWatch()
        model.on_event = self._readings.take
        self._second = -1
        self._alive_ns: int | None = None
        self._open: dict[int, SensorWarning] = {}
        self._seen = 0  # warnings whose start was told
        self._connections = 0
        self._hush_at: float | None = None
        self._over = False
        self._failed = ""

    def look(self) -> None:
        """Publish what is new; never raises."""
        if self._over:
            return
        try:
            self._look()
        except Exception:
            # The watcher goes on: the command, and what is published of warnings, hang on it too.
            _log.exception("publishing the board has failed and stops")
            self._over = True
            self._failed = f"{LOSS} any more after an error, which stands in the log"

    def trouble(self) -> str:
        """One sentence about what cannot be done, once; usually empty."""
        failed, self._failed = self._failed, ""
        return failed or self.client.trouble()

    def close(self) -> None:
        """Wait a moment until the broker has everything, then leave it."""
        self._model.on_event = None
        give_up = time.monotonic() + FAREWELL_S
        while self.client.connected and time.monotonic() < give_up:
            self.retained.tend()
            if self.retained.settled:
                break
            time.sleep(0.02)
        self.client.close(max(give_up - time.monotonic(), 0.0))

    def _look(self) -> None:
        model, snapshot = self._model, self._model.snapshot()
        ended = model.ended
        if ended is not None and ended.alarm is not None and ended.alarm.headline == CUT_OFF:
            # The session goes on without us: what the broker says once we are gone is true now.
            self._put_state(GONE, None)
            self._finish()
            return
        session = RECORDING if ended is None else ENDED
        how = None
        if ended is not None:
            how = ended.reason if ended.alarm is None else ended.alarm.headline.lower()
        self._put_session(session, snapshot, how)
        self._tell_readings(session, snapshot)
        self._put_sensors(session, snapshot)
        self._tell_warnings(session, snapshot)
        self._put_state(session, snapshot.t_ns)
        if ended is not None:
            self._finish()
            return
        self.client.tend()
        # First: what others have put in the place of the state is gone before it is heard.
        self.retained.tend()
        self._listen()

    def _finish(self) -> None:
        self._over = True
        self.retained.tend()

    def _put(self, message: Message, session: str, at_ns: int) -> None:
        """Put it if it says something new, or the session has just ended."""
        if session != ENDED and self._told.get(message.topic) == message.facts:
            return
        self._told[message.topic] = message.facts
        self.retained.put(message.topic, self._messages.text(message.facts, session, at_ns))

    def _put_state(self, state: str, at_ns: int | None) -> None:
        alive = self._alive_ns
        if state == RECORDING and at_ns is not None:
            if alive is not None and at_ns - alive < SIGN_OF_LIFE_S * NS_PER_S:
                return
            self._alive_ns = at_ns
        text = self._messages.state_text(state, self._me, at_ns, self.client.left_out)
        self.retained.put(self._messages.state_topic, text)

    def _put_session(self, session: str, snapshot: Snapshot, how: str | None) -> None:
        message = self._messages.session(snapshot, self._model.alarm, how)
        self._put(message, session, snapshot.t_ns)

    def _tell_readings(self, session: str, snapshot: Snapshot) -> None:
        for new in self._readings.new():
            if not 1 <= new.number <= len(snapshot.sensors):
                continue
            status = snapshot.sensors[new.number - 1]
            topic, facts = self._messages.reading(status, self._model.halted, new, snapshot.t_ns)
            self.client.mention(topic, self._messages.text(facts, session, new.t_ns))

    def _put_sensors(self, session: str, snapshot: Snapshot) -> None:
        """Once for each second that was closed, and at once where a state has changed."""
        is_new = snapshot.second != self._second or session == ENDED
        self._second = snapshot.second
        for status in snapshot.sensors:
            message = self._messages.status(status, self._model.halted)
            told = self._told.get(message.topic)
            if is_new or told is None or told["state"] != message.facts["state"]:
                self._put(message, session, snapshot.t_ns)
            if is_new and status.role == "test":
                self._put(self._messages.agreement(status, snapshot), session, snapshot.t_ns)

    def _tell_warnings(self, session: str, snapshot: Snapshot) -> None:
        warnings = self._model.board.warnings
        now_open = {warning.number: warning for warning in snapshot.open_warnings}
        events = [("start", warning) for warning in warnings[self._seen :]]
        events += [
            ("end", warning)
            for warning in warnings
            if (warning.number in self._open or warning.number > self._seen)
            and (warning.number not in now_open or session == ENDED)
        ]
        self._seen = len(warnings)
        self._open = now_open
        for event, warning in events:
            topic, facts = self._messages.warning_event(event, warning)
            self.client.send(topic, self._messages.text(facts, session, snapshot.t_ns))
        standing = () if session == ENDED else snapshot.open_warnings
        self._put(self._messages.warnings(standing), session, snapshot.t_ns)

    def _listen(self) -> None:
        """Take away what an earlier session has left, and see whether we are alone."""
        now = self._clock()
        if self.client.connected and self._connections != self.client.connections:
            # Once: what somebody else has put there must not keep us from coming back.
            topics = [self._messages.state_topic]
            if not self._connections:
                topics.append(self._messages.any_sensor)
                self._hush_at = now + LEFTOVERS_S
            self._connections = self.client.connections
            self.client.listen(*topics)
        for heard in self.client.heard():
            self._take(heard)
        if self._hush_at is not None and now >= self._hush_at:
            self._hush_at = None
            self.client.hush(self._messages.any_sensor)

    def _take(self, heard: Heard) -> None:
        if heard.topic == self._messages.state_topic:
            if not heard.stored and self._is_of_another(heard.payload):
                self.client.complain(
                    f"another board is published under {self._prefix!r} too: choose "
                    "another prefix for one of them"
                )
        elif heard.stored and heard.payload and not self._messages.is_ours(heard.topic):
            self.client.send(heard.topic, "", retain=True)

    def _is_of_another(self, payload: bytes) -> bool:
        try:
            told = json.loads(payload)
        except (ValueError, RecursionError):
            return False
        if not isinstance(told, dict) or told.get("state") != RECORDING:
            return False
        return told.get("publisher") != self._me
