"""Publishes warnings over MQTT, one message at the start and one at the end of each."""

from __future__ import annotations

import json
import time
from collections.abc import Callable

from live.notify.broker_client import BrokerClient
from live.notify.throttle import AlarmCall, Call, CallReason
from replay.broker import Broker


class Publisher:
    """A :class:`~live.notify.notifier.Channel` that publishes start and end of each warning.

    Raises :class:`~replay.errors.PlanError` for a broker that cannot be meant.
    """

    def __init__(
        self,
        broker: Broker,
        topic: str,
        facts_of: Callable[[Call | AlarmCall], dict[str, object]],
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._topic = topic
        self._facts_of = facts_of
        self._client = BrokerClient(broker, "warnings are not published", clock=clock)

    @property
    def refusal(self) -> str:
        """Why the broker lets this computer not in, in its own words; empty if it does."""
        return self._client.refusal

    def call(self, call: Call | AlarmCall) -> None:
        """Publish the start or the end of a warning; a reminder is not for machines."""
        if call.reason is CallReason.REMINDER:
            return
        text = json.dumps(self._facts_of(call), ensure_ascii=False, allow_nan=False)
        self._client.send(self._topic, text)

    def tend(self) -> None:
        """See whether the broker is there."""
        self._client.tend()

    def trouble(self) -> str:
        """One sentence about the first thing that went wrong; once in a session."""
        return self._client.trouble()

    def close(self) -> None:
        """Wait a moment until the broker has everything, then leave it."""
        self._client.close()
