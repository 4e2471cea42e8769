"""Single keys from the terminal, without waiting for Enter; POSIX and Windows."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Final, Protocol


class Keys(Protocol):
    """Reads keys that were pressed since it was last asked."""

    def read(self) -> list[str]:
        """Names of the keys, oldest first: the character, or ``left`` ``right`` ``up`` ``down``;
        empty at once if none was pressed.
        """

    def are_ours(self) -> bool:
        """Whether keys that are pressed come here, or could if there were a keyboard."""


_POSIX_ARROWS: Final = {"A": "up", "B": "down", "C": "right", "D": "left"}
_WINDOWS_ARROWS: Final = {"H": "up", "P": "down", "M": "right", "K": "left"}


class NoKeys:
    """For an input that is not a keyboard."""

    def read(self) -> list[str]:
        """Nothing, ever."""
        return []

    def are_ours(self) -> bool:
        """There are none."""
        return False


def parse_posix(text: str) -> list[str]:
    """Key names of what a POSIX terminal sent; unknown escape sequences are left out."""
    keys: list[str] = []
    rest = iter(text)
    for sign in rest:
        if sign != "\x1b":
            keys.append(sign)
            continue
        if next(rest, "") not in {"[", "O"}:
            continue
        # A sequence ends with the first letter or tilde; numbers and semicolons are parameters.
        final = next((s for s in rest if s.isalpha() or s == "~"), "")
        if final in _POSIX_ARROWS:
            keys.append(_POSIX_ARROWS[final])
    return keys


@contextmanager
def keyboard() -> Iterator[Keys]:
    """The keyboard for as long as the block runs; the terminal is as before afterwards."""
    if not sys.stdin.isatty():
        yield NoKeys()
    elif sys.platform == "win32":
        yield _WindowsKeys()
    else:
        import termios  # noqa: PLC0415 - POSIX only
        import tty  # noqa: PLC0415

        terminal = sys.stdin.fileno()
        before = termios.tcgetattr(terminal)
        tty.setcbreak(terminal)
        try:
            yield _PosixKeys(terminal)
        finally:
            # Refused where the terminal is gone, or is its shell's again because the capture that
            # this view belongs to was killed; the shell then sets it right itself.
            with suppress(termios.error):
                termios.tcsetattr(terminal, termios.TCSADRAIN, before)


class _PosixKeys:
    def __init__(self, terminal: int) -> None:
        self._terminal = terminal

    def read(self) -> list[str]:
        import select  # noqa: PLC0415 - of no use on Windows, where it takes sockets only

        got = b""
        while select.select([self._terminal], [], [], 0)[0]:
            try:
                chunk = os.read(self._terminal, 1024)
            except OSError:  # the terminal is gone, or its shell's again: see keyboard()
                break
            if not chunk:
                break
            got += chunk
        return parse_posix(got.decode("utf-8", "replace"))

    def are_ours(self) -> bool:
        try:
            return os.tcgetpgrp(self._terminal) == os.getpgrp()
        except OSError:
            return False


class _WindowsKeys:
    def are_ours(self) -> bool:
        return True

    def read(self) -> list[str]:
        keys: list[str] = []
        if sys.platform == "win32":
            import msvcrt  # noqa: PLC0415 - Windows only

            while msvcrt.kbhit():
                sign = msvcrt.getwch()
                if sign in {"\x00", "\xe0"}:  # a special key: its code follows
                    name = _WINDOWS_ARROWS.get(msvcrt.getwch())
                    keys += [name] if name else []
                elif sign == "\x03":
                    raise KeyboardInterrupt
                else:
                    keys.append(sign)
        return keys
