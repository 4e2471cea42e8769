"""The watcher: a view without a picture, which runs the command and publishes warnings and board.

One per capture, started beside it as a process of its own, so that however many views are attached
each warning is told once, and with ``--view none`` as well.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final, Protocol

from live.notify.board_publisher import BoardPublisher
from live.notify.command import CommandRunner
from live.notify.message import facts_for
from live.notify.notifier import Channel, Notifier
from live.notify.publisher import Publisher
from live.protocol.feed import RECORDING_BEGINS, Feed
from live.protocol.frames import REHEARSAL
from live.protocol.view_model import ViewModel
from replay.broker import Broker
from replay.errors import SidebeatError
from replay.page import PagePlan
from replay.plan import Plan

EVERY_S: Final = 0.25
"""As often as a capture ticks."""


class Shown(Protocol):
    """A page that the watcher serves beside: see :class:`live.views.page.page.Page`."""

    full: str
    read: str

    def look(self) -> None:
        """Show what is new; never raises."""

    def trouble(self) -> str:
        """One sentence about what cannot be done, once; usually empty."""

    def close(self) -> None:
        """Show the end, and go."""


PageOf = Callable[[ViewModel, PagePlan], Shown]
"""Makes a page of a recording.  Raises :class:`~replay.errors.SidebeatError`."""


def channels_of(plan: Plan, started_utc_ns: int) -> list[Channel]:
    """The command and the publisher of a plan, as far as planned.

    Raises :class:`~replay.errors.PlanError` for a broker that cannot be meant.
    """
    facts_of = facts_for(plan, started_utc_ns)
    channels: list[Channel] = []
    if plan.attention.topic:
        channels.append(Publisher(plan.broker or Broker(), plan.attention.topic, facts_of))
    if plan.attention.command:
        channels.append(CommandRunner(plan.attention.command, facts_of))
    return channels


def watch(
    attach: Callable[[], Feed],
    say: Callable[[str], None],
    *,
    page_of: PageOf | None = None,
    sleep: Callable[[float], None] = time.sleep,
    clock: Callable[[], int] = time.monotonic_ns,
) -> None:
    """Follow a capture to its end.

    ``attach``: gives its feed; asked again where a rehearsal has become a recording.  ``say``:
    takes one sentence about what could not be done; the views of the capture show it too.
    ``page_of``: makes the page, where the plan wants one; where to open it is told the capture,
    whose views show it.
    """
    while _follow(attach(), say, page_of, sleep, clock) == RECORDING_BEGINS:
        pass


def _follow(
    feed: Feed,
    say: Callable[[str], None],
    page_of: PageOf | None,
    sleep: Callable[[float], None],
    clock: Callable[[], int],
) -> str:
    """Follow one stream to its end; the reason of it."""
    notifier, publisher, page = Notifier([]), None, None
    try:
        feed.send("watch")
        model = ViewModel(feed)
        if feed.title != REHEARSAL:  # before the recording nobody is called
            notifier = Notifier(channels_of(feed.plan, feed.started_utc_ns), clock=clock)
            publisher = BoardPublisher(model) if feed.plan.prefix else None
            page = _page(model, page_of, say)
        while model.ended is None:
            model.pump()
            notifier.look(model)
            for showing in (publisher, page):
                if showing is not None:
                    showing.look()
            for one in (notifier, publisher, page):
                if one is not None and (trouble := one.trouble()):
                    say(trouble)
                    feed.send("trouble", text=trouble)
            if model.ended is None:
                sleep(EVERY_S)
        return model.ended.reason
    finally:
        notifier.close()
        for showing in (publisher, page):
            if showing is not None:
                showing.close()
        feed.close()


def _page(model: ViewModel, page_of: PageOf | None, say: Callable[[str], None]) -> Shown | None:
    """The page, if one is wanted and can be served."""
    plan = model.plan.page
    if plan is None or page_of is None:
        return None
    try:
        page = page_of(model, plan)
    except SidebeatError as error:
        say(str(error))
        model.feed.send("trouble", text=str(error))
        return None
    model.feed.send("page", full=page.full, read=page.read)
    return page
