"""The tester's note on the timeline: its text, and the moment it speaks of.

A note that was typed reaches the capture when it is finished, but speaks of the moment at which
the tester began it.  A capture's events never go back in time, so the event is stamped when it
arrives, and where the moment lies before, it stands in front of the text: ns since the session
began in decimal digits, then the byte 1F (ASCII's unit separator).  A payload without that byte is
the text alone, and the moment is the event's own.
"""

from __future__ import annotations

from typing import Final

from replay.text import printable

_SEPARATOR: Final = "\x1f"


def encode_marker(text: str, moment_ns: int | None = None) -> bytes:
    """Payload of a marker, UTF-8.

    ``moment_ns``: the moment it speaks of, ns since the session began; ``None``: that of its
    event.  The text is made :func:`~replay.text.printable`; a separator in it becomes a blank.
    """
    plain = printable(text)
    if moment_ns is None:
        return plain.encode()
    return f"{moment_ns}{_SEPARATOR}{plain}".encode()


def decode_marker(t_ns: int, payload: bytes) -> tuple[int, str]:
    """Moment (ns since the session began) and text of a marker that arrived at ``t_ns``.

    The text is :func:`~replay.text.printable`.  Never raises: a moment that is no number, or lies
    after the event, is none, and the event's own is taken.
    """
    text = payload.decode("utf-8", errors="replace")
    moment, found, rest = text.partition(_SEPARATOR)
    if not found:
        return t_ns, printable(text)
    # 19 digits hold every moment of a 64-bit clock.
    if moment.isascii() and moment.isdigit() and len(moment) <= 19 and int(moment) <= t_ns:
        return int(moment), printable(rest)
    return t_ns, printable(rest)
