"""The attention of one view: sounds where they belong, and what a replay was asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from live.notify.command import CommandRunner
from live.notify.facts import facts_for
from live.notify.notifier import Attention, Means
from live.notify.options import Asked
from live.notify.player import Player
from live.protocol.feed import Feed


@contextmanager
def closing_if_any(attention: Attention | None) -> Iterator[Attention | None]:
    """Close an attention, if there is one, at the end of a ``with`` block."""
    try:
        yield attention
    finally:
        if attention is not None:
            attention.close()


def attention_of(
    feed: Feed, asked: Asked, bell: Callable[[], None] | None = None
) -> Attention | None:
    """The attention of a view on this feed; ``None`` if it calls nobody.

    ``bell``: what a view can do where no sound can be played.
    """
    means: list[Means] = []
    sounds = asked.sounds
    if sounds is None:
        sounds = feed.is_live and feed.plan.attention.sounds
    if sounds:
        means.append(Player(bell=bell))
    if asked.command and not feed.is_live:
        means.append(CommandRunner(asked.command, facts_for(feed.plan, feed.started_utc_ns)))
    return Attention(means, only_in_front=True) if means else None
