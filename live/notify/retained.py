"""Messages that a broker keeps for whoever comes later: of each topic the newest, and no other."""

from __future__ import annotations

from live.notify.broker_client import BrokerClient


class Retained:
    """Sees to it that a broker has the newest text of each topic.

    One message of a topic is on the way at a time: what is sent once more after a lost connection
    can then never come behind a newer one, and a slow broker gets the newest alone.  A broker that
    lets the client in anew is given all of them, since it may have forgotten.
    """

    def __init__(self, client: BrokerClient) -> None:
        self._client = client
        self._wanted: dict[str, str] = {}
        self._given: dict[str, str] = {}
        self._on_the_way: dict[str, int] = {}
        self._connections = 0

    def put(self, topic: str, text: str) -> None:
        """Keep this as the newest of a topic; an empty text takes it away."""
        self._wanted[topic] = text

    def tend(self) -> None:
        """Send what the broker does not have, as far as it is there."""
        if not self._client.connected:
            return
        if self._connections != self._client.connections:
            self._connections = self._client.connections
            self._given.clear()
        for topic, text in self._wanted.items():
            number = self._on_the_way.get(topic)
            if number is not None and self._client.is_pending(number):
                continue
            self._on_the_way.pop(topic, None)
            if self._given.get(topic) == text:
                continue
            sent = self._client.send(topic, text, retain=True)
            if sent is None:
                return
            self._given[topic] = text
            self._on_the_way[topic] = sent

    @property
    def settled(self) -> bool:
        """Whether the broker has confirmed the newest of every topic."""
        return self._given == self._wanted and not any(
            self._client.is_pending(number) for number in self._on_the_way.values()
        )
