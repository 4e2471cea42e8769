"""The states of the link to one sensor, as they are stored, shown and tested."""

from __future__ import annotations

from enum import StrEnum


class LinkState(StrEnum):
    """Where the link to a planned sensor stands.  The value is what a capture stores."""

    WAITING = "waiting"
    """Planned; nothing done yet."""
    SEARCHING = "searching"
    """Looking for it: scanning, or waiting for the first message on its topic."""
    QUEUED = "queued"
    """Found; another sensor is being linked first."""
    CONNECTING = "connecting"
    """Found; the link is being made."""
    PREPARING = "preparing"
    """Linked; reading its information and subscribing."""
    STREAMING = "streaming"
    """Notifications arrive."""
    QUIET = "quiet"
    """The link is up, but notifications have stopped; the subscription is being renewed."""
    LOST = "lost"
    """The link broke; waiting to try again."""
    REFUSED = "refused"
    """The sensor or the broker refuses; tried again slowly."""
    ADAPTER_OFF = "adapter off"
    """This computer's Bluetooth is off or gone, or the broker is out of reach."""
    FILE = "file"
    """No link: the readings came from a file."""
    STOPPED = "stopped"
    """The session has ended; the link was closed on purpose."""

    @property
    def is_up(self) -> bool:
        """Whether there is a link at this moment, as far as is known."""
        return self in (LinkState.PREPARING, LinkState.STREAMING, LinkState.QUIET)
