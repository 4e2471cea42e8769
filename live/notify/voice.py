"""Says warnings aloud, by what the platform speaks with; off unless the user has asked for it."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
from collections import deque
from collections.abc import Sequence
from typing import Final

from live.notify.brief import brief
from live.notify.throttle import AlarmCall, Call, CallReason
from replay.plan import Plan

NO_VOICE: Final = "no voice is installed here: {}; warnings are not spoken"
MOST_WAITING: Final = 3
"""What was to be said before that is no news any more."""

_ON_WINDOWS: Final = (
    "Add-Type -AssemblyName System.Speech;"
    "(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak($input)"
)


def platform_voices() -> tuple[tuple[str, ...], ...]:
    """Commands that speak what they read from standard input, the best first."""
    if sys.platform == "win32":
        return (("powershell", "-NoProfile", "-Command", _ON_WINDOWS),)
    if sys.platform == "darwin":
        return (("say",),)
    return (("espeak-ng", "--stdin"), ("espeak", "--stdin"))


class Voice:
    """A :class:`~live.notify.notifier.Channel` that speaks, one sentence at a time."""

    def __init__(self, plan: Plan, voices: Sequence[Sequence[str]] | None = None) -> None:
        known = platform_voices() if voices is None else voices
        self._plan = plan
        self._command = next((list(one) for one in known if shutil.which(one[0])), None)
        self.process: subprocess.Popen[bytes] | None = None
        """What is being said; None in silence."""
        self._waiting: deque[str] = deque(maxlen=MOST_WAITING)
        self._trouble = ""
        if self._command is None:
            names = ", ".join(one[0] for one in known)
            self._trouble = NO_VOICE.format(f"none of {names} was found")

    def call(self, call: Call | AlarmCall) -> None:
        """Say what to do about a start or a reminder."""
        if call.reason is CallReason.END:
            return
        if isinstance(call, AlarmCall):
            self.say(call.alarm.headline.lower())
        else:
            self.say(brief(call.warning, self._plan).spoken)

    def say(self, words: str) -> None:
        """Say some words, behind what is being said."""
        if self._command is not None:
            self._waiting.append(words)
            self.tend()

    def tend(self) -> None:
        """Begin what waits, once the sentence before is over."""
        if self.process is not None and self.process.poll() is not None:
            self.process = None
        if self.process is not None or not self._waiting or self._command is None:
            return
        words = self._waiting.popleft()
        try:
            self.process = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            if self.process.stdin is not None:
                with contextlib.suppress(BrokenPipeError), self.process.stdin as said:
                    said.write(words.encode())
        except OSError as error:
            self._trouble = NO_VOICE.format(f"{self._command[0]} cannot be started ({error})")
            self._command = None

    def trouble(self) -> str:
        """One sentence if nothing can be said; once."""
        said, self._trouble = self._trouble, ""
        return said

    def close(self) -> None:
        """Be silent."""
        self._waiting.clear()
        process, self.process = self.process, None
        if process is not None:
            if process.poll() is None:
                process.kill()
            process.wait()
