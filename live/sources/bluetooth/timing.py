"""Every waiting time of the Bluetooth source, with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Waiting times in seconds; the defaults are for real radios, tests use shorter ones."""

    scan_s: float = 5.0
    """One stretch of scanning: sensors advertise every 0.1 to 2 s."""
    settle_s: float = 1.5
    """Scanning goes on for so long after the first find: others are about to be seen too, and
    twins by name must both have had their say before one is chosen."""
    scan_pause_s: float = 5.0
    """Longest pause between two scans: a scan takes radio time from the open links."""
    unseen_s: float = 20.0
    """After so long a search the tester is told what to look at."""
    repin_s: float = 30.0
    """A sensor planned by name may come back under another address (some draw a new one when
    switched on); before that is believed, its old address must have been away this long."""

    connect_s: float = 10.0
    """A link is made within 3 s or, on a busy radio, not at all."""
    call_s: float = 4.0
    """One read, subscription or start of a scan."""
    disconnect_s: float = 5.0
    """The daemon takes 2 to 2.5 s to end a link."""
    close_s: float = 8.0
    """All links together when the session ends."""

    first_s: float = 8.0
    """From subscription to the first notification; some sensors measure for some seconds."""
    silence_s: float = 3.0
    """Least silence that counts, whatever the sensor's rate."""
    silence_intervals: float = 4.0
    """Silence is so many of the sensor's own intervals (4 s at 1 Hz)."""
    silence_most_s: float = 30.0
    """Longest silence that is waited for, however slow the sensor."""
    idle_s: float = 30.0
    """Least silence of a companion: cadence and power sensors rest when nothing turns."""

    retry_s: float = 0.5
    """First pause after a lost link; doubles up to ``retry_most_s``."""
    retry_most_s: float = 15.0
    refused_s: float = 5.0
    """First pause after a refusal; doubles up to ``refused_most_s``."""
    refused_most_s: float = 60.0
    full_s: float = 4.0
    """Pause after a sensor vanished on connect: an adapter without a free link needs this."""
    steady_s: float = 10.0
    """A stream that lasted so long starts the pauses anew."""
    adapter_poll_s: float = 2.0
    """How often a missing adapter is looked for."""
    battery_s: float = 600.0
    """How often the battery is read where the sensor does not notify it."""
