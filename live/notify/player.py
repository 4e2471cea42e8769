"""Plays a sound by what the platform has, without waiting for it.

One sound at a time: a second one is left out while the first is heard, unless it is graver.
"""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from live.notify.sounds import Sound, is_graver, length_s, sound_for, wav_bytes
from live.notify.throttle import AlarmCall, Call, CallReason

LONGEST_S: Final = 6.0
"""A player that is still there after this hangs on an output that is gone, and is ended."""
NO_SOUND: Final = "no sound can be heard here: {}; warnings are shown only"
_NONE_FOUND: Final = "none of the players {} is installed"

_WINDOWS: Final = "winsound"


def platform_players() -> tuple[str, ...]:
    """Names of the players to look for on this platform, the best first."""
    if sys.platform == "win32":
        return (_WINDOWS,)
    if sys.platform == "darwin":
        return ("afplay",)
    return ("pw-play", "paplay", "aplay")


class Player:
    """A :class:`~live.notify.notifier.Channel` that is heard.

    ``players``: names or paths of programs that play a WAV file given as their argument.
    ``bell``: what there is instead, where no player works; its own sentence is then not said.
    """

    def __init__(
        self,
        players: Sequence[str] | None = None,
        *,
        bell: Callable[[], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        names = platform_players() if players is None else tuple(players)
        self._players = [n for n in names if n == _WINDOWS or shutil.which(n)]
        self._bell = bell
        self._clock = clock
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._sound: Sound | None = None
        self._until = 0.0
        self._trouble = ""
        self._silent = False
        if not self._players:
            self._give_up(_NONE_FOUND.format(", ".join(names)))

    def call(self, call: Call | AlarmCall) -> None:
        """Play the sound of a start or a reminder."""
        sound = Sound.SIREN if isinstance(call, AlarmCall) else sound_for(call.warning.severity)
        if sound is not None and call.reason is not CallReason.END:
            self.play(sound)

    def play(self, sound: Sound) -> None:
        """Begin a sound, or ring the bell instead."""
        self.tend()
        if self._silent:
            if self._bell is not None:
                self._bell()
            return
        if self._sound is not None:
            if not is_graver(sound, self._sound):
                return
            self._stop()
        self._begin(sound)

    @property
    def is_playing(self) -> bool:
        """Whether a sound is being heard, as far as is known."""
        self.tend()
        return self._sound is not None

    def tend(self) -> None:
        """See whether the sound is over, and whether its player could do it."""
        if self._sound is None:
            return
        is_late = self._clock() >= self._until
        if self._process is None:  # Windows plays by itself
            if is_late:
                self._sound = None
            return
        status = self._process.poll()
        if status is None and not is_late:
            return
        sound = self._sound
        self._stop()
        if status != 0:
            how = "does not end" if status is None else f"ends with status {status}"
            self._next_player(sound, how)

    def trouble(self) -> str:
        """One sentence if nothing can be heard; once."""
        said, self._trouble = self._trouble, ""
        return said

    def close(self) -> None:
        """Be silent, and leave no file behind."""
        self._stop()
        if self._folder is not None:
            with contextlib.suppress(OSError):
                self._folder.cleanup()
            self._folder = None

    def _begin(self, sound: Sound) -> None:
        try:
            path = self._file(sound)
        except OSError as error:
            self._give_up(f"the file of the sound cannot be written ({error.strerror})")
            return
        self._sound = sound
        self._until = self._clock() + LONGEST_S
        name = self._players[0]
        try:
            if name == _WINDOWS:
                self._until = self._clock() + length_s(sound) + 0.5
                _play_on_windows(path)
            else:
                self._process = subprocess.Popen(
                    [name, str(path)],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
        except (OSError, RuntimeError) as error:
            self._sound = None
            self._next_player(sound, f"cannot be started ({error})")

    def _next_player(self, sound: Sound, how: str) -> None:
        """The first player has failed: try the next one, or ring the bell from now on."""
        failed = self._players.pop(0)
        if self._players:
            self._begin(sound)
            return
        self._give_up(f"{failed} {how}")
        if self._bell is not None:
            self._bell()

    def _give_up(self, why: str) -> None:
        self._silent = True
        if self._bell is None:
            self._trouble = NO_SOUND.format(why)

    def _stop(self) -> None:
        process, self._process = self._process, None
        self._sound = None
        if process is not None and process.poll() is None:
            process.kill()
        if process is not None:
            process.wait()

    def _file(self, sound: Sound) -> Path:
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="sidebeat-")
        path = Path(self._folder.name) / f"{sound.value}.wav"
        if not path.exists():
            path.write_bytes(wav_bytes(sound))
        return path


def _play_on_windows(path: Path) -> None:
    if sys.platform == "win32":
        import winsound  # noqa: PLC0415 - Windows only

        winsound.PlaySound(str(path), winsound.SND_FILENAME | winsound.SND_ASYNC)
