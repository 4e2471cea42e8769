"""The notifier of one view: sounds where they belong, and what a replay was asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from live.notify.command import CommandRunner
from live.notify.message import facts_for
from live.notify.notifier import Channel, Notifier
from live.notify.options import NotifyOptions
from live.notify.player import Player
from live.notify.voice import Voice
from live.protocol.feed import Feed


@contextmanager
def closing_if_any(notifier: Notifier | None) -> Iterator[Notifier | None]:
    """Close a notifier, if there is one, at the end of a ``with`` block."""
    try:
        yield notifier
    finally:
        if notifier is not None:
            notifier.close()


def notifier_of(
    feed: Feed, options: NotifyOptions, bell: Callable[[], None] | None = None
) -> Notifier | None:
    """The notifier of a view on this feed; ``None`` if it calls nobody.

    ``bell``: what a view can do where no sound can be played.
    """
    channels: list[Channel] = []
    sounds = options.sounds
    if sounds is None:
        sounds = feed.is_live and feed.plan.attention.sounds
    if sounds:
        channels.append(Player(bell=bell))
    if options.voice:
        channels.append(Voice(feed.plan))
    if options.command and not feed.is_live:
        channels.append(CommandRunner(options.command, facts_for(feed.plan, feed.started_utc_ns)))
    return Notifier(channels, only_in_front=True) if channels else None
