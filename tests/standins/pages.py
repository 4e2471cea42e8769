"""A page of a recording that a test scripts, served on loopback as the watcher serves it."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from live.protocol.feed import Acknowledged, CaptureStatus, Ended, Message, Tick
from live.protocol.view_model import ViewModel
from live.views.page.page import Page
from replay.event import ACKNOWLEDGED, MARKER, NS_PER_S, Event
from replay.page import PagePlan
from replay.plan import Plan
from tests.standins.broker import free_port
from tests.standins.feeds import PLAN, ScriptedFeed

STATUS = CaptureStatus(path="/captures/a.sqlite", events=1, saved=1, commit_age_s=0.1, views=1)


class PagedFeed(ScriptedFeed):
    """A capture that hands over what a test puts in, and carries out what the page asks."""

    silent_s = 0.0

    def __init__(self, plan: Plan = PLAN) -> None:
        super().__init__([], plan=plan)
        self._next: list[Message] = [STATUS]
        self._lock = threading.Lock()
        self.now_ns = 0

    def put(self, *messages: Message) -> None:
        """Hand these over at the next poll."""
        with self._lock:
            for message in messages:
                if isinstance(message, Event | Tick):
                    self.now_ns = max(self.now_ns, message.t_ns)
                self._next.append(message)

    def poll(self) -> list[Message]:
        with self._lock:
            found, self._next = self._next, []
        return found

    def send(self, action: str, **values: str | int) -> int:
        number = super().send(action, **values)
        t_ns = self.now_ns + 1
        if action == "marker":
            self.put(Event(t_ns, 0, MARKER, str(values["text"]).encode()))
        elif action == "acknowledge":
            sensor = values["sensor"]
            assert isinstance(sensor, int)
            self.put(Event(t_ns, sensor, ACKNOWLEDGED, str(values["kind"]).encode()))
        words = "marked" if action == "marker" else action
        self.put(Tick(t_ns), Acknowledged(number, done=True, message=words))
        return number

    def end(self, reason: str = "stopped by the tester", alarm=None) -> None:
        """The recording is over."""
        self.put(Ended(self.now_ns, reason, alarm))


class ServedPage:
    """``model`` is pumped, and the page looks, in a thread of its own, as in the watcher."""

    def __init__(self, feed, plan: PagePlan) -> None:
        self.feed = feed
        self.model = ViewModel(feed)
        self.model.pump()
        self.page = Page(self.model, plan)
        self.page.look()  # whoever comes first sees the session, not an empty page
        self.port = plan.port
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            self.model.pump()
            self.page.look()
            time.sleep(0.05)

    def url(self, port: int | None = None, *, read: bool = False) -> str:
        """Where it is opened; ``port``: of a proxy in front of it."""
        found = self.page.read if read else self.page.full
        return found.replace(f":{self.port}/", f":{port or self.port}/")

    def close(self) -> None:
        """Look no more, and listen no more."""
        self._stop.set()
        self._thread.join()
        self.page.server.close()


@contextmanager
def served_page(feed, **plan: object) -> Iterator[ServedPage]:
    """A page for the length of a ``with`` block."""
    made = PagePlan(port=free_port())
    served = ServedPage(feed, replace(made, **plan))  # type: ignore[arg-type]
    try:
        yield served
    finally:
        served.close()


def seconds(events: list[Event]) -> list[Message]:
    """Events, and a tick behind the last of them."""
    last = max(event.t_ns for event in events)
    return [*events, Tick(last // NS_PER_S * NS_PER_S + NS_PER_S)]
