"""A phone with a real browser: headless Chromium at a phone's size, driven over a pipe.

It speaks the browser's own protocol (Chrome DevTools Protocol) on two file descriptors, so that
nothing listens on a port.
"""

from __future__ import annotations

import base64
import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.standins.browser import QUIET, browser

WIDTH, HEIGHT, RATIO = 390, 844, 2
"""CSS pixels of a usual phone, held upright, and device pixels in each."""
PATIENCE_S = 30.0
_AS_3_AND_4 = """\
import fcntl, os, sys
theirs_in, theirs_out = (fcntl.fcntl(int(number), fcntl.F_DUPFD, 10) for number in sys.argv[1:3])
os.dup2(theirs_in, 3), os.dup2(theirs_out, 4)
os.execvp(sys.argv[3], sys.argv[3:])
"""
"""The browser reads from descriptor 3 and writes to 4."""
_STILL = """\
(() => {
  for (let last = setTimeout(() => 0); last > 0; last--) clearTimeout(last);
  window.setTimeout = window.setInterval = () => 0;
  window.WebSocket = class {};
})()
"""
"""Ends what a page does by itself."""


class Phone:
    """One browser; ``open`` makes a page in it."""

    def __init__(
        self, folder: Path, *options: str, scrollbars: bool = False, complaints: Path | None = None
    ) -> None:
        """Begin it.

        ``options``: more of the browser's own.  ``complaints``: a file for what it says on its
        standard error.
        """
        ours_in, theirs_out = os.pipe()
        theirs_in, ours_out = os.pipe()
        self._in, self._out = ours_in, ours_out
        if not scrollbars:
            options = (*options, "--hide-scrollbars")
        with Path(complaints or os.devnull).open("w", encoding="utf-8") as said:
            self._process = subprocess.Popen(
                [
                    sys.executable, "-c", _AS_3_AND_4, str(theirs_in), str(theirs_out),
                    browser() or "chromium", *QUIET,
                    "--remote-debugging-pipe", f"--user-data-dir={folder / 'profile'}",
                    *options, "about:blank",
                ],
                pass_fds=(theirs_in, theirs_out),
                stdout=subprocess.DEVNULL,
                stderr=said,
            )  # fmt: skip
        os.close(theirs_in)
        os.close(theirs_out)
        self._held = b""
        self._number = 0
        self.events: list[dict[str, Any]] = []
        self._open: list[Tab] = []
        self._left: list[Tab] = []

    def call(self, method: str, session: str = "", **params: object) -> Any:
        """Ask the browser for something; its answer."""
        self._number += 1
        number = self._number
        message: dict[str, Any] = {"id": number, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        give_up = time.monotonic() + PATIENCE_S
        while True:
            told = self._next(give_up)
            if told.get("id") == number:
                assert "error" not in told, told
                return told["result"]
            self.events.append(told)

    def _next(self, give_up: float) -> dict[str, Any]:
        while b"\0" not in self._held:
            ready, _, _ = select.select([self._in], [], [], max(give_up - time.monotonic(), 0))
            assert ready, "the browser does not answer"
            data = os.read(self._in, 1 << 20)
            assert data, "the browser has gone"
            self._held += data
        one, self._held = self._held.split(b"\0", 1)
        return json.loads(one)

    def open(self, url: str, *, dark: bool = False) -> Tab:
        """A page at this address: one that was left, as a new one takes a process of its own."""
        tab = self._left.pop() if self._left else self._new()
        self._open.append(tab)
        tab.darken(dark)
        tab.go(url)
        return tab

    def _new(self) -> Tab:
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        tab = Tab(self, session)
        tab.call("Page.enable")
        tab.call("Runtime.enable")
        tab.call("Log.enable")
        tab.call("Network.enable")
        tab.resize(WIDTH, HEIGHT)
        return tab

    def open_as_on_a_desktop(self, url: str) -> Tab:
        """A page at this address in a window of the browser's own size, with a mouse."""
        target = self.call("Target.createTarget", url=url)["targetId"]
        attached = self.call("Target.attachToTarget", targetId=target, flatten=True)
        return Tab(self, attached["sessionId"])

    def leave(self) -> None:
        """Nobody looks at the open pages any more: others may take their places.  Until then they
        say nothing: a page whose server has gone would try to reach it, and complain.
        """
        for tab in self._open:
            tab.ask(_STILL)
        self._left += self._open
        self._open = []

    def forget(self, session: str) -> None:
        """What was told of a page so far."""
        self.events = [one for one in self.events if one.get("sessionId") != session]

    def close(self) -> None:
        """End the browser."""
        os.close(self._out)
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._in)


class Tab:
    """One page."""

    def __init__(self, phone: Phone, session: str) -> None:
        self._phone = phone
        self._session = session

    def call(self, method: str, **params: object) -> Any:
        """Ask the browser for something of this page."""
        return self._phone.call(method, self._session, **params)

    def go(self, url: str) -> None:
        """To another address; what was told before counts no more."""
        self.ask("1")  # whatever came before is read then
        self._phone.forget(self._session)
        self.call("Page.navigate", url=url)
        self.until(f"location.href == {json.dumps(url)}", "page at this address")

    def resize(self, width: int, height: int) -> None:
        """The size of the screen in CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=RATIO, mobile=True,
        )  # fmt: skip

    def darken(self, dark: bool) -> None:
        """What the phone prefers."""
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", features=[scheme])

    def ask(self, script: str) -> Any:
        """The value of an expression in the page."""
        found = self.call("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def until(self, script: str, what: str) -> None:
        """Wait until an expression is true."""
        give_up = time.monotonic() + PATIENCE_S
        while not self.ask(f"Boolean({script})"):
            assert time.monotonic() < give_up, f"no {what}: {self.text!r}"
            time.sleep(0.05)

    def text_of(self, selector: str) -> str:
        """The visible words of one element; empty if it is hidden."""
        return self.ask(f"document.querySelector({selector!r})?.innerText ?? ''")

    @property
    def text(self) -> str:
        """All that can be read."""
        return self.ask("document.body ? document.body.innerText : ''")

    def press(self, selector: str) -> None:
        """A finger on the middle of an element, as the screen would tell it."""
        x, y = self.ask(
            f"(e => {{ const b = e.getBoundingClientRect(); return [b.x + b.width / 2, "
            f"b.y + b.height / 2]; }})(document.querySelector({selector!r}))"
        )
        touch = [{"x": x, "y": y}]
        self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=touch)
        self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def picture(self, path: Path) -> Path:
        """What the screen shows, as PNG."""
        made = self.call("Page.captureScreenshot", format="png")
        path.write_bytes(base64.b64decode(made["data"]))
        return path

    def printed(self) -> bytes:
        """The page as a PDF, as the browser's own print makes it."""
        made = self.call("Page.printToPDF", printBackground=True, preferCSSPageSize=True)
        return base64.b64decode(made["data"])

    def complaints(self) -> list[str]:
        """Errors of scripts and refusals of the browser so far."""
        self.ask("1")  # whatever came before is read then
        return [
            json.dumps(one["params"])
            for one in self._phone.events
            if one.get("sessionId") == self._session
            and (
                one["method"] == "Runtime.exceptionThrown"
                or (
                    one["method"] == "Log.entryAdded" and one["params"]["entry"]["level"] == "error"
                )
            )
        ]

    def asked_for(self) -> list[str]:
        """Addresses that the page has loaded anything from."""
        self.ask("1")
        return [
            one["params"].get("request", one["params"]).get("url", "")
            for one in self._phone.events
            if one.get("sessionId") == self._session
            and one["method"] in ("Network.requestWillBeSent", "Network.webSocketCreated")
        ]


@contextmanager
def running_phone(folder: Path, *options: str, **more: Any) -> Iterator[Phone]:
    """A browser for the length of a ``with`` block."""
    phone = Phone(folder, *options, **more)
    try:
        yield phone
    finally:
        phone.close()


def until(condition: Callable[[], object], what: str) -> None:
    """Wait for a condition."""
    give_up = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < give_up, f"no {what}"
        time.sleep(0.02)
