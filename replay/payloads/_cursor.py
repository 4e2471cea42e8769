"""Reading little-endian fields one after the other, with errors that name the byte."""

from __future__ import annotations

from replay.errors import PayloadError


class Cursor:
    """Takes fields from the front of a payload.  Internal to the decoders."""

    __slots__ = ("_at", "_channel", "_payload")

    def __init__(self, channel: str, payload: bytes) -> None:
        self._channel = channel
        self._payload = payload
        self._at = 0

    def unsigned(self, size: int, field: str) -> int:
        """The next ``size`` bytes as an unsigned number.  Raises :class:`PayloadError`."""
        return int.from_bytes(self._take(size, field), "little")

    def signed(self, size: int, field: str) -> int:
        """The next ``size`` bytes as a signed number.  Raises :class:`PayloadError`."""
        return int.from_bytes(self._take(size, field), "little", signed=True)

    def finish(self, *, unknown_flags: int) -> None:
        """Refuse bytes behind the last field.

        Bits of the flags that the standard reserves may announce fields of a later revision,
        which stand behind the known ones; only then is the rest passed over.
        """
        rest = len(self._payload) - self._at
        if rest and not unknown_flags:
            raise self.error(self._at, f"{_bytes(rest)} more than the flags announce")

    def error(self, byte: int, problem: str) -> PayloadError:
        """An error about byte ``byte`` of this payload."""
        return PayloadError(self._channel, byte, problem, self._payload)

    def _take(self, size: int, field: str) -> bytes:
        end = self._at + size
        if end > len(self._payload):
            missing = end - len(self._payload)
            raise self.error(len(self._payload), f"{_bytes(missing)} missing for the {field}")
        part = self._payload[self._at : end]
        self._at = end
        return part


def _bytes(count: int) -> str:
    return "1 byte" if count == 1 else f"{count} bytes"
