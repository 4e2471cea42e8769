"""Every waiting time of the Bluetooth source, with its reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Waiting times in seconds; the defaults are for real radios, tests use shorter ones."""

    # Listening.
    scan_s: float = 10.0
    """One stretch of scanning; the next follows at once while anyone is lost."""
    deaf_s: float = 3.0
    """A scan that hears nobody at all for so long is begun anew: a daemon that was restarted
    meanwhile no longer scans for us, and nobody tells."""
    gather_s: float = 0.3
    """Scanning goes on for so long for others who are lost too: many are found at once where an
    adapter or a whole room comes back."""
    patient_s: float = 1.5
    """The same where those who were found have failed before: who is heard for the first time,
    and may advertise once a second, must not be kept out by them."""
    fresh_s: float = 4.0
    """A sighting older than this is none: sensors advertise every 0.1 to 2 s."""
    turn_s: float = 10.0
    """The same when its turn comes: looking again holds up all who queue, and for many of them
    more than once; that a sensor left meanwhile costs one short attempt, and is rare."""
    settle_s: float = 1.5
    """A name is decided after so long: twins must both have had their say."""
    twin_s: float = 10.0
    """A namesake that was seen within this time is in reach."""
    repin_s: float = 3.0
    """A sensor planned by name may come back under another address (some draw a new one when
    switched on); its old one must have been away so long before the new one is asked for its
    serial number."""
    unseen_s: float = 20.0
    """After so long a search the tester is told what to look at."""
    adapters_s: float = 10.0
    """How often the list of adapters is looked at while anyone is lost."""
    adapter_poll_s: float = 0.4
    """How often a missing adapter is looked for."""

    # Connecting.
    link_s: float = 4.0
    """A sensor in sight is linked within 3 s or, on a busy radio, not at all."""
    crowded_s: float = 2.4
    """The same while others wait for their turn."""
    connect_s: float = 12.0
    """Link and list of services together: a slow sensor takes some seconds for the latter."""
    call_s: float = 3.0
    """One read, subscription or start of a scan."""
    disconnect_s: float = 5.0
    """The daemon takes 2 to 2.5 s to end a link."""
    close_s: float = 8.0
    """All links together when the session ends."""

    # Watching.
    first_s: float = 8.0
    """From the first subscription to the first notification; some sensors measure for some
    seconds."""
    silence_s: float = 3.0
    """Least silence that counts, whatever the sensor's rate."""
    silence_intervals: float = 3.0
    """Silence is so many of the sensor's own intervals (3 s at 1 Hz).  Renewing a
    subscription costs nothing, so it need not be certain."""
    renewed_share: float = 0.4
    """After a renewed subscription, the share of that silence in which something must come."""
    silence_most_s: float = 30.0
    """Longest silence that is waited for, however slow the sensor."""
    idle_s: float = 30.0
    """Least silence of a companion: cadence and power sensors rest when nothing turns."""

    # Trying again.
    retry_s: float = 0.4
    """First pause after a failed attempt to link a sensor in sight; doubles up to
    ``retry_most_s``.  A lost link is made again on sight, without a pause."""
    retry_most_s: float = 1.8
    refused_s: float = 3.0
    """First pause after a refusal; grows up to ``refused_most_s``."""
    refused_most_s: float = 4.0
    full_s: float = 4.0
    """Pause while the adapter holds no more links; it ends as soon as one is ended."""
    full_most_s: float = 6.0
    battery_s: float = 600.0
    """How often the battery is read where the sensor does not notify it."""
