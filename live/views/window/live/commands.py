"""What the window asks of the capture, and what became of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from analysis.board.snapshot import SensorWarning
from live.protocol.feed import LONGEST_AGO_MS, Feed
from live.protocol.view_model import ViewModel


class Commands:
    """Sends markers, stops and reconnections; remembers them until they are answered."""

    def __init__(self, model: ViewModel) -> None:
        self._model = model
        self._waiting: dict[int, str] = {}

    def marker(self, text: str, ago_ns: int = 0) -> None:
        """Set a marker for now, or the moment that passed ``ago_ns`` ago; without text it gets a
        number.
        """
        text = text or f"marker {len(self._model.board.markers) + 1}"
        ago_ms = min(max(ago_ns // 1_000_000, 0), LONGEST_AGO_MS)
        ago = {"ago_ms": ago_ms} if ago_ms else {}
        self._send(f"marker “{text}”", "marker", text=text, **ago)

    def stop(self) -> None:
        """End the capture: links closed, file closed."""
        self._send("end of the capture", "stop")

    def connect(self, sensor: int) -> None:
        """Try to reach this sensor at once."""
        self._send(
            f"{self._model.plan.sensor(sensor).label}: trying again", "connect", sensor=sensor
        )

    def acknowledge(self, warnings: Sequence[SensorWarning]) -> None:
        """Say that these are known: they stay, and call no more."""
        words = ", ".join(warning.kind.value for warning in warnings)
        for number in self._model.acknowledge(warnings):
            self._waiting[number] = f"acknowledged: {words}"

    def _send(self, words: str, action: str, **values: str | int) -> None:
        self._waiting[self._model.feed.send(action, **values)] = words

    def news(self) -> str:
        """Words on the newest answer that has come; empty if none did."""
        words = ""
        for number in list(self._waiting):
            answer = self._model.answer(number)
            if answer is None:
                continue
            asked = self._waiting.pop(number)
            words = asked if answer.done else f"refused: {answer.message or asked}"
        return words


def pause_or_play(feed: Feed, say: Callable[[str], None]) -> None:
    """Pause what plays, play what is paused; a live capture does neither."""
    if not hasattr(feed, "pause") or not hasattr(feed, "play"):
        return
    if getattr(feed, "playing", False):
        feed.pause()
        say("paused")
    else:
        feed.play()
        say("")
