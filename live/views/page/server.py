"""Serves the page: a thread of the watcher with a loop of its own.

Whatever happens here, the one who records is another process.  An error in a handler is counted and
logged, and the page goes on.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import ssl
import threading
from collections.abc import Awaitable, Callable
from importlib import resources
from typing import Final

from aiohttp import web

from live.views.page.access import (
    Right,
    Tokens,
    headers_of,
    host_of,
    is_own_name,
    is_same_origin,
)
from live.views.page.colours import colours_css
from live.views.page.facts import Point, State
from live.views.page.viewer import LONGEST_REQUEST, Answer, Request, Viewer
from replay.errors import SidebeatError
from replay.page import PagePlan

MOST_VIEWERS: Final = 40
START_S: Final = 5.0
LAST_WORDS_S: Final = 2.0
"""How long the end waits for phones to take what is left."""
LEAVE_S: Final = 1.0
"""How long a phone has to answer that the connection is ended."""
_NO_PAGE: Final = (
    "This address opens nothing here, or no longer: each recording has its own. Scan the code on "
    "the screen of the recording again."
)
_OURS: Final = ("page.js", "page.css")
_ICON: Final = "views/window/start/sidebeat.svg"
KINDS: Final = {
    "page.js": "text/javascript",
    "page.css": "text/css",
    "icon.svg": "image/svg+xml",
}
"""What is sent beside the page itself, and as what."""

_log = logging.getLogger(__name__)


class PageServer:
    """Listens from ``start`` to ``close``.  ``take``: is given each request, on this thread.

    All other methods may be called from any thread.
    """

    def __init__(
        self, plan: PagePlan, tokens: Tokens, take: Callable[[Request, Answer], None]
    ) -> None:
        self._plan = plan
        self._tokens = tokens
        self._take = take
        self._tls = tls_of(plan)
        self._own_name = socket.gethostname()
        files = resources.files("live.views.page")
        self._files = {name: files.joinpath(name).read_text("utf-8") for name in _OURS}
        self._files["icon.svg"] = resources.files("live").joinpath(_ICON).read_text("utf-8")
        self._files["page.css"] = colours_css() + self._files["page.css"]
        self._page = files.joinpath("page.html").read_text("utf-8")
        self._viewers: set[Viewer] = set()
        self._state: State = {}
        self._points: list[Point] = []
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop = asyncio.Event()
        self._started = threading.Event()
        self._problem = ""
        self._thread = threading.Thread(target=self._serve, name="page", daemon=True)
        self.faults = 0
        """Errors in handlers."""
        self.was_seen = False
        """Whether any phone ever looked."""

    @property
    def secure(self) -> bool:
        """Whether the page is served encrypted."""
        return self._tls is not None

    @property
    def viewers(self) -> int:
        """How many phones look at the page."""
        return len(self._viewers)

    def start(self) -> None:
        """Listen.  Raises :class:`SidebeatError` in one sentence."""
        self._thread.start()
        if not self._started.wait(START_S):
            self._problem = "its thread did not begin in time"
        if self._problem:
            raise SidebeatError(self._problem)

    def show(self, state: State, points: list[Point]) -> None:
        """Take the state as it is now, and tell whoever looks."""
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):  # the loop is closed
                self._loop.call_soon_threadsafe(self._show, state, points)

    def close(self) -> None:
        """Wait a moment until every phone knows the last state, then listen no more."""
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(START_S + LAST_WORDS_S)

    def _serve(self) -> None:
        try:
            with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
                runner.run(self._run())
        except Exception as error:
            self.faults += 1
            self._problem = self._problem or f"the page cannot be served ({error})"
            _log.exception("the page is not served any more")
        finally:
            self._started.set()

    async def _run(self) -> None:
        app = web.Application(middlewares=[self._checked], client_max_size=LONGEST_REQUEST)
        app.router.add_get("/{token}", self._slash)
        app.router.add_get("/{token}/", self._give_page)
        app.router.add_get("/{token}/live", self._follow)
        app.router.add_get("/{token}/{name}", self._give_file)
        # Addresses hold the token: they are not written to a log.
        runner = web.AppRunner(app, access_log=None, shutdown_timeout=LEAVE_S)
        await runner.setup()
        try:
            site = web.TCPSite(runner, self._plan.address, self._plan.port, ssl_context=self._tls)
            try:
                await site.start()
            except OSError as error:
                self._problem = cannot_listen(self._plan, error)
                return
            self._loop = asyncio.get_running_loop()
            self._started.set()
            await self._stop.wait()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LAST_WORDS_S):
                    await asyncio.gather(*(viewer.has_all.wait() for viewer in self._viewers))
        finally:
            await asyncio.gather(*(viewer.leave() for viewer in self._viewers))
            await runner.cleanup()

    def _show(self, state: State, points: list[Point]) -> None:
        self._state, self._points = state, points
        for viewer in self._viewers:
            viewer.show(state, points)

    @web.middleware
    async def _checked(
        self,
        request: web.Request,
        handler: Callable[[web.Request], Awaitable[web.StreamResponse]],
    ) -> web.StreamResponse:
        """Host and token before anything else; the same headers on every answer."""
        host = host_of(request.headers.get("Host"))
        headers = headers_of(host or "localhost", secure=self.secure)
        if not is_own_name(host, self._plan.address, self._own_name):
            return web.Response(status=421, text="This computer has another name.", headers=headers)
        if self._right(request) is None:
            return web.Response(status=403, text=_NO_PAGE, headers=headers)
        try:
            response = await handler(request)
        except web.HTTPException as error:
            error.headers.update(headers)
            raise
        except Exception:
            self.faults += 1
            _log.exception("the page could not answer")
            return web.Response(status=500, text="The page failed.", headers=headers)
        if not response.prepared:
            response.headers.update(headers)
        return response

    def _right(self, request: web.Request) -> Right | None:
        return self._tokens.right_of(request.match_info.get("token", ""))

    async def _slash(self, request: web.Request) -> web.StreamResponse:
        raise web.HTTPFound(f"/{request.match_info['token']}/")

    async def _give_page(self, _request: web.Request) -> web.StreamResponse:
        return web.Response(text=self._page, content_type="text/html", charset="utf-8")

    async def _give_file(self, request: web.Request) -> web.StreamResponse:
        name = request.match_info["name"]
        if name not in KINDS:
            raise web.HTTPNotFound
        response = web.Response(text=self._files[name], content_type=KINDS[name], charset="utf-8")
        response.enable_compression()
        return response

    async def _follow(self, request: web.Request) -> web.StreamResponse:
        """One phone, for as long as it looks."""
        origin = request.headers.get("Origin")
        host = host_of(request.headers.get("Host"))
        if not is_same_origin(origin, host, secure=self.secure):
            raise web.HTTPForbidden(text="another page must not look into this one")
        if len(self._viewers) >= MOST_VIEWERS:
            raise web.HTTPServiceUnavailable(text=f"{MOST_VIEWERS} phones look already")
        ws = web.WebSocketResponse(max_msg_size=LONGEST_REQUEST, timeout=LEAVE_S)
        await ws.prepare(request)
        viewer = Viewer(ws, self._right(request) or Right.READ, self._take)
        viewer.show(self._state, self._points)
        self._viewers.add(viewer)
        self.was_seen = True
        tasks = [asyncio.ensure_future(part) for part in (viewer.send(), viewer.hear())]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._viewers.discard(viewer)
            for task in tasks:
                task.cancel()
            ended = await asyncio.gather(*tasks, return_exceptions=True)
            self._look_at(ended)
            await ws.close()
        return ws

    def _look_at(self, ended: list[BaseException | None]) -> None:
        """A phone that is gone or talks nonsense is let go; anything else is an error of ours."""
        usual = (asyncio.CancelledError, ConnectionError, TimeoutError, ValueError, RecursionError)
        for error in ended:
            if error is not None and not isinstance(error, usual):
                self.faults += 1
                _log.error("a phone was let go after an error", exc_info=error)


def tls_of(plan: PagePlan) -> ssl.SSLContext | None:
    """How the page is encrypted; ``None`` without a certificate.  Raises :class:`SidebeatError`."""
    if not plan.cert_file:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        context.load_cert_chain(plan.cert_file, plan.key_file or None, password=lambda: b"")
    except (OSError, ssl.SSLError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise SidebeatError(f"the page's certificate cannot be used ({why})") from None
    return context


def cannot_listen(plan: PagePlan, error: OSError) -> str:
    """The sentence on a page that cannot be served."""
    import errno  # noqa: PLC0415 - only where it went wrong

    where = f"{plan.address}:{plan.port}"
    if error.errno == errno.EADDRINUSE:
        return (
            f"the page cannot be served: something listens on {where} already; give another port "
            f"(--page {plan.address}:{plan.port + 1 if plan.port < 65535 else 8765})"
        )
    # asyncio of Python 3.12 and later passes over each address that is not to be had, and says in
    # the end, without a number, that none was.
    if error.errno in {errno.EADDRNOTAVAIL, None} or isinstance(error, socket.gaierror):
        return (
            f"the page cannot be served: {plan.address!r} is no address of this computer; "
            "0.0.0.0 means all of them"
        )
    if error.errno == errno.EACCES:
        return f"the page cannot be served: port {plan.port} is not for users; take one above 1023"
    return f"the page cannot be served on {where} ({error.strerror or error})"
