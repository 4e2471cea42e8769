"""The page of one recording, as the watcher owns it: its state goes out, what is asked comes in.

``look`` is called after each ``pump`` of the model, on the watcher's thread; the server beside it
shares nothing with the model but what is handed over here.
"""

from __future__ import annotations

import logging
import queue
import time
from collections.abc import Callable
from typing import Final

from live.protocol.feed import LONGEST_AGO_MS
from live.protocol.view_model import ViewModel
from live.views.page.access import Tokens, shown_address, url_of
from live.views.page.facts import PageFacts
from live.views.page.server import PageServer
from live.views.page.viewer import Answer, Request
from replay.page import PagePlan

MOST_REMEMBERED: Final = 500
"""Requests that are known again when a phone asks once more after a cut."""
LINGERS_S: Final = 60.0
"""How long the page of a recording that ended unasked stays for phones that come back."""
_EVERY_S: Final = 0.2

_log = logging.getLogger(__name__)


class Page:
    """Serves from its making on.  Raises :class:`~replay.errors.SidebeatError` in one sentence.

    ``full``, ``read``: the addresses to open it by; the second shows no buttons.
    """

    def __init__(self, model: ViewModel, plan: PagePlan) -> None:
        self._model = model
        self._facts = PageFacts(model.plan)
        self._asked: queue.SimpleQueue[tuple[Request, Answer]] = queue.SimpleQueue()
        self._waiting: dict[int, tuple[str, Answer]] = {}
        self._done: dict[str, tuple[bool, str] | None] = {}
        self._faults = 0
        self._failed = ""
        tokens = Tokens()
        self.server = PageServer(plan, tokens, lambda *asked: self._asked.put(asked))
        self.server.start()
        host = shown_address(plan.address)
        self.full = url_of(host, plan.port, tokens.full, secure=self.server.secure)
        self.read = url_of(host, plan.port, tokens.read, secure=self.server.secure)

    @property
    def faults(self) -> int:
        """What went wrong in the page, here and in the server."""
        return self._faults + self.server.faults

    def look(self) -> None:
        """Carry out what was asked, and show what is new; never raises."""
        try:
            self._answer()
            self._carry_out()
            state = self._facts.state(self._model, self.faults)
            points = self._facts.points(self._model.board, self._model.generation)
            self.server.show(state, points)
        except Exception:
            # Command, publisher and the other viewers of this process go on.
            self._faults += 1
            _log.exception("the page could not show a moment")
            if self._faults == 1:
                self._failed = "the page has met an error, which stands in the log; it goes on"

    def trouble(self) -> str:
        """One sentence about what cannot be done, once; usually empty."""
        failed, self._failed = self._failed, ""
        return failed

    def close(self, sleep: Callable[[float], None] = time.sleep) -> None:
        """Let every phone have the end; one that nobody asked for stays for who comes back."""
        ended = self._model.ended
        if ended is not None and ended.alarm is not None and self.server.was_seen:
            give_up = time.monotonic() + LINGERS_S
            while time.monotonic() < give_up:
                self.look()
                sleep(_EVERY_S)
        self.server.close()

    def _carry_out(self) -> None:
        while not self._asked.empty():
            request, answer = self._asked.get()
            if request.id in self._done:  # asked again, since the answer was lost on the way
                if (before := self._done[request.id]) is not None:
                    answer(*before)
                continue
            self._done[request.id] = None
            while len(self._done) > MOST_REMEMBERED:
                del self._done[next(iter(self._done))]
            for number in self._send(request):
                self._waiting[number] = (request.id, answer)
                break
            else:
                self._settle(request.id, answer, done=False, words="no warning calls")

    def _send(self, request: Request) -> list[int]:
        """Ask the capture; numbers of the commands."""
        model = self._model
        if request.action == "marker":
            text = f"marker {len(model.board.markers) + 1}"
            ago_ms = min(request.ago_ms, LONGEST_AGO_MS)
            return [model.feed.send("marker", text=text, ago_ms=ago_ms)]
        # Only what the phone has shown, and what stands still: no warning is silenced unseen.
        seen = set(request.warnings)
        standing = model.snapshot().open_warnings
        return model.acknowledge([w for w in standing if (w.sensor, w.kind.value) in seen])

    def _answer(self) -> None:
        for number, (identifier, answer) in list(self._waiting.items()):
            found = self._model.answer(number)
            if found is not None:
                del self._waiting[number]
                words = found.message or ("done" if found.done else "refused")
                self._settle(identifier, answer, done=found.done, words=words)

    def _settle(self, identifier: str, answer: Answer, *, done: bool, words: str) -> None:
        self._done[identifier] = (done, words)
        answer(done, words)
