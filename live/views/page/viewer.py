"""One phone that looks at the page: what it is sent, what it may ask, and how much of either.

A viewer is sent nothing new before it has said that it has the last: whoever is slow gets fewer
states, each whole and the newest there is, and nothing piles up for it anywhere on the way.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from aiohttp import WSMsgType, web

from live.views.page.access import Right
from live.views.page.deltas import Told
from live.views.page.facts import Point, State

PATIENCE_S: Final = 20.0
"""A phone that has not taken one message by then is gone, or will come back."""
SIGN_OF_LIFE_S: Final = 2.0
"""As often at least something is sent: the page says that it is cut off after some more."""
LONGEST_REQUEST: Final = 2048
"""Bytes."""
MOST_ASKED: Final = 30
IN_S: Final = 10.0
"""So many requests in so many seconds are more than fingers do."""
LONGEST_ID: Final = 40
MOST_KNOWN: Final = 50
"""Warnings of one acknowledgement."""


@dataclass(frozen=True, slots=True)
class Request:
    """What a phone asks for.  ``id``: its own, the same where it asks again after a cut.

    ``action``: ``marker`` (``ago_ms``) or ``known`` (``warnings``: sensor and kind of each that it
    showed).
    """

    id: str
    action: str
    ago_ms: int = 0
    warnings: tuple[tuple[int, str], ...] = ()


Answer = Callable[[bool, str], None]
"""Takes whether it was done, and a few words; may be called from any thread."""


def read_request(told: object) -> Request:
    """A request as it came from the network.  Raises ``ValueError``."""
    if not isinstance(told, dict):
        raise ValueError("a request is an object")
    identifier, action, ago_ms = told.get("id"), told.get("do"), told.get("ago_ms", 0)
    warnings = told.get("warnings", [])
    if not isinstance(identifier, str) or not 0 < len(identifier) <= LONGEST_ID:
        raise ValueError("a request has an id")
    if action not in ("marker", "known"):
        raise ValueError("a request is for a marker, or says what is known")
    if not isinstance(ago_ms, int) or isinstance(ago_ms, bool) or ago_ms < 0:
        raise ValueError("a moment lies in the past")
    if not isinstance(warnings, list) or len(warnings) > MOST_KNOWN:
        raise ValueError("what is known is a list of warnings")
    named = []
    for one in warnings:
        sensor, kind = one if isinstance(one, list) and len(one) == 2 else (None, None)
        if not isinstance(sensor, int) or not isinstance(kind, str):
            raise ValueError("a warning is a sensor and a kind")
        named.append((sensor, kind))
    return Request(identifier, action, ago_ms, tuple(named))


class Viewer:
    """``take``: is given each request with how to answer it."""

    def __init__(
        self,
        socket: web.WebSocketResponse,
        right: Right,
        take: Callable[[Request, Answer], None],
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._socket = socket
        self._right = right
        self._take = take
        self._clock = clock
        self._loop = asyncio.get_running_loop()
        self._told = Told()
        self._news = asyncio.Event()
        self._news.set()
        self._seen = asyncio.Event()
        self._number = 0
        self._sent_at = clock()
        self._state: State = {}
        self._points: list[Point] = []
        self._answers: deque[State] = deque(maxlen=100)
        self._asked: deque[float] = deque(maxlen=MOST_ASKED)
        self.has_all = asyncio.Event()
        """Set once the newest state has arrived there."""

    def show(self, state: State, points: list[Point]) -> None:
        """Take the state as it is now."""
        self._state, self._points = state, points
        self.has_all.clear()
        self._news.set()

    async def send(self) -> None:
        """Keep the phone informed until it is gone."""
        while True:
            is_alive = False
            with contextlib.suppress(TimeoutError):
                until = self._sent_at + SIGN_OF_LIFE_S - self._clock()
                async with asyncio.timeout(max(until, 0.01)):
                    is_alive = await self._news.wait()
            self._news.clear()
            message = self._told.news({**self._state, "right": self._right.value}, self._points)
            answers = []
            while self._answers:
                answers.append(self._answers.popleft())
            if answers:
                message["answers"] = answers
            if is_alive and not message and self._number:
                self.has_all.set()
                continue
            self._number += 1
            self._seen.clear()
            text = json.dumps({"n": self._number, **message}, separators=(",", ":"))
            async with asyncio.timeout(PATIENCE_S):
                await self._socket.send_str(text)
                await self._seen.wait()
            self._sent_at = self._clock()
            if not self._news.is_set():
                self.has_all.set()

    async def leave(self) -> None:
        """End the connection in good order."""
        await self._socket.close()

    async def hear(self) -> None:
        """Take what the phone says until it is gone.  Raises ``ValueError`` for nonsense."""
        async for message in self._socket:
            if message.type is not WSMsgType.TEXT:
                raise ValueError("a page sends text")
            told = json.loads(message.data)
            if isinstance(told, dict) and "seen" in told:
                if told["seen"] == self._number:
                    self._seen.set()
                continue
            self._ask(read_request(told))

    def _ask(self, request: Request) -> None:
        def answer(done: bool, words: str) -> None:
            told: State = {"id": request.id, "done": done, "words": words}
            self._loop.call_soon_threadsafe(self._answered, told)

        now = self._clock()
        if len(self._asked) == MOST_ASKED and now - self._asked[0] < IN_S:
            answer(False, "too fast: wait a moment")
            return
        self._asked.append(now)
        if self._right is not Right.FULL:
            answer(False, "this address is for looking only")
            return
        self._take(request, answer)

    def _answered(self, told: State) -> None:
        self._answers.append(told)
        self._news.set()
