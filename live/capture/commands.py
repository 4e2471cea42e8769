"""What a view may ask: a marker, to note a warning as known, another try at a sensor, the end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from live.capture.session_router import SessionRouter
from live.protocol.feed import LONGEST_AGO_MS, Acknowledged, Command
from live.sources.base import Source

LONGEST_MARKER: Final = 2000
"""Characters; a note, not a file."""
LONGEST_TROUBLE: Final = 300
LONGEST_URL: Final = 400
LONGEST_KIND: Final = 40
"""Characters; the kinds of warnings are a few words each."""
_ALSO_AT_THE_END: Final = ("stop", "watch")
"""What is answered even while the capture is ending."""


class Commands:
    """Carries out what views ask.

    ``request_stop``: takes the reason; ``is_ending``: whether the capture is already stopping.
    """

    def __init__(
        self,
        router: SessionRouter,
        sources: Sequence[Source],
        sensors: int,
        *,
        request_stop: Callable[[str], None],
        is_ending: Callable[[], bool],
    ) -> None:
        self._router = router
        self._sources = sources
        self._sensors = sensors
        self._request_stop = request_stop
        self._is_ending = is_ending
        self.trouble = ""
        """What the watcher said last that it could not do; usually empty."""
        self.page = ("", "")
        """Where the watcher serves the page, with its buttons and without; empty: nowhere."""
        self._actions: Final[dict[str, Callable[[Command], tuple[bool, str]]]] = {
            "stop": self._stop,
            "watch": self._watch,
            "marker": self._marker,
            "trouble": self._trouble,
            "page": self._page,
            "acknowledge": self._acknowledge,
            "connect": self._connect,
        }

    def carry_out(self, command: Command) -> Acknowledged:
        """Do it, or say why not; never raises."""
        try:
            done, message = self._answer(command)
        except Exception as error:
            # A fault in what a view asked for must not reach the capture.
            done, message = False, f"it failed: {error}"
        return Acknowledged(command.number, done=done, message=message)

    def _answer(self, command: Command) -> tuple[bool, str]:
        if command.action not in _ALSO_AT_THE_END and self._is_ending():
            return False, "the capture is ending"
        carry_out = self._actions.get(command.action)
        if carry_out is None:
            return False, f"there is no command {command.action!r}"
        return carry_out(command)

    def _stop(self, _command: Command) -> tuple[bool, str]:
        self._request_stop("stopped from a view")
        return True, "stopping"

    def _watch(self, _command: Command) -> tuple[bool, str]:
        return True, "watching"  # the server of the views has taken note of it

    def _marker(self, command: Command) -> tuple[bool, str]:
        text = str(command.values.get("text", "")).strip()
        if not 0 < len(text) <= LONGEST_MARKER:
            return False, f"a marker has 1 to {LONGEST_MARKER} characters"
        ago_ms = command.values.get("ago_ms", 0)
        if not isinstance(ago_ms, int) or not 0 <= ago_ms <= LONGEST_AGO_MS:
            return False, "a marker's moment lies within the last hour"
        self._router.session.marker(text, ago_ms * 1_000_000)
        return True, "marked"

    def _trouble(self, command: Command) -> tuple[bool, str]:
        self.trouble = str(command.values.get("text", ""))[:LONGEST_TROUBLE]
        return True, "noted"

    def _page(self, command: Command) -> tuple[bool, str]:
        full, read = (str(command.values.get(name, "")) for name in ("full", "read"))
        if max(len(full), len(read)) > LONGEST_URL:
            return False, "a page's address is shorter"
        self.page = (full, read)
        return True, "noted"

    def _acknowledge(self, command: Command) -> tuple[bool, str]:
        sensor, kind = command.values.get("sensor"), str(command.values.get("kind", ""))
        # Which kinds there are is the board's business: it ignores what does not stand.
        if not isinstance(sensor, int) or not 0 <= sensor <= self._sensors:
            return False, "there is no such sensor"
        if not 0 < len(kind) <= LONGEST_KIND:
            return False, "a warning is named by its kind"
        self._router.session.acknowledge(sensor, kind)
        return True, "acknowledged"

    def _connect(self, command: Command) -> tuple[bool, str]:
        sensor = command.values.get("sensor")
        if not isinstance(sensor, int) or not 1 <= sensor <= self._sensors:
            return False, "there is no such sensor"
        for source in self._sources:
            source.connect(sensor)
        return True, "trying again"
