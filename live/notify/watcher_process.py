"""The watcher beside a view: started with the capture, seen to its end with it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import IO, Final, Protocol

from live.capture.viewer import ViewProcess

GRACE_S: Final = 10.0
"""Command and broker each take their time at the end; then the watcher must go."""


class Child(Protocol):
    """A process that was started along with the capture."""

    def ended(self) -> str | None:
        """How it ended, in a few words; ``None`` while it runs."""


class WatcherProcess:
    """A view, if there is one, and the watcher, for the capture to look at as one.

    ``say``: takes the sentence that the watcher has gone or could not be started.  ``stdout``:
    where the watcher says what it could not do.
    """

    def __init__(
        self,
        view: Child | None,
        run_file: Path,
        say: Callable[[str], None],
        stdout: IO[str] | int | None,
    ) -> None:
        self._view = view
        self._say = say
        self._watcher: ViewProcess | None = None
        try:
            self._watcher = ViewProcess(
                ["live", "--attach", str(run_file), "--watch"], stdout=stdout
            )
        except OSError as error:
            self._mourn(f"could not be started ({error})")

    def ended(self) -> str | None:
        """How the view ended; the end of the watcher is said, and ends nothing."""
        if self._watcher is not None and (how := self._watcher.ended()) is not None:
            self._watcher = None
            self._mourn(how)
        return self._view.ended() if self._view is not None else None

    def let_go(self) -> None:
        """The capture is over: give the watcher a moment for its last words."""
        if self._watcher is not None:
            self._watcher.let_go(GRACE_S)

    def _mourn(self, how: str) -> None:
        self._say(
            f"The watcher {how}: warnings run no command and nothing is published any more; "
            "the capture goes on."
        )
