"""What a capture has to do where several computers hear one session.

A node's capture hands each event on to the source that passes it on, as it was saved; a capture
that listens to nodes leaves in its file what it knows of their clocks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from live.capture.recording import Recording
from live.capture.session import ViewSink
from live.sources.base import Source, Tap, Translates
from replay.capture.notes import CLOCK
from replay.event import Event


def tapped(views: ViewSink, sources: Iterable[Source], file: Recording | None) -> ViewSink:
    """Where a session's events go beside its file: to the views, and to the sources that tap it."""
    taps = [source for source in sources if isinstance(source, Tap)]
    if file is not None:
        for tap in taps:
            tap.begin(file.session_uuid)
    return _Tapped(views, taps) if taps else views


def clock_notes(
    sources: Iterable[Source], shift_ns: int
) -> Iterator[tuple[str, dict[str, str | int]]]:
    """What is known of other computers' clocks, as kinds and bodies of notes.

    ``shift_ns``: how much later the session began than the clock that the sources were given.
    """
    for source in sources:
        if not isinstance(source, Translates):
            continue
        for clock, known in source.translations.items():
            line = known.translation
            yield (
                CLOCK,
                {
                    "clock": clock,
                    "offset_ns": line.offset_ns - shift_ns,
                    "drift_ppb": line.drift_ppb,
                    "at_ns": line.at_ns,
                    "bound_ns": known.bound_ns,
                },
            )


class _Tapped:
    """The views' sink, and what else takes every event."""

    def __init__(self, views: ViewSink, taps: Sequence[Tap]) -> None:
        self._views = views
        self._taps = taps

    def put(self, event: Event) -> None:
        """First the taps: what is passed on must not wait for what is drawn, or fail with it."""
        for tap in self._taps:
            tap.put(event)
        self._views.put(event)

    def tick(self, t_ns: int) -> None:
        """As the views' sink does."""
        self._views.tick(t_ns)
