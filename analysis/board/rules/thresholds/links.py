"""Thresholds, with their reasons.  Sensors, links and the capturing computer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class NotStartedLimits:
    """When a planned sensor counts as not started."""

    after_s: int = 8
    """Scanning and connecting take 2 to 7 s; the tester should know within 10 s."""
    underway_s: int = 20
    """Longer while a link is being made: a connection attempt may take 10 s and be repeated."""
    clear_after_s: int = 2
    """Chosen: one more second than the first notification; a single stray is not a start."""


@dataclass(frozen=True, slots=True)
class SilentLimits:
    """When a sensor that was heard counts as silent."""

    least_s: float = 5.0
    """Radio links skip 2 to 4 s when the body stands between sensor and computer."""
    spacings: float = 3.2
    """Three of the sensor's own slower spacings, and what arrival wavers: two lost in a row are
    common, three are not.  Where one in twenty is lost, a sensor that sends every 7 s loses two in
    a row once an hour, three once in fifteen."""
    most_s: float = 8.0
    """A sensor that sends every 2 s must be missed within 10 s, give or take a waver, however much
    its link loses; one that by its middle spacing sends every 5 to 15 s cannot be."""
    per_h: float = 0.01
    """Longer only where its own link loses so many that such a gap comes by chance more often than
    once in 100 hours: ten sensors on such links then give one false alarm in ten hours …"""
    most_lost: int = 4
    """… and for no more losses in a row than these, or than make ``most_s``, so that at 0.5 Hz it
    is told after 10 s and a waver still; a longer gap is a silence, and says nothing of the share
    that is lost."""
    counted: int = 300
    """Notifications of which the lost share is counted: one in ten is known to 2 % of all …"""
    counted_least: int = 30
    """… and with fewer to nothing."""
    prior_kept: int = 30
    """As if so many had come without a loss: one early loss is no share yet."""
    wavers: float = 0.2
    """Of a spacing: by so much an arrival wavers."""
    off_skin_s: float = 30.0
    """A sensor that has said that it has no contact sends now and then only; for longer, its link
    is to be looked at."""
    companion_s: float = 60.0
    """Cadence and power sensors fall silent by design while nothing turns."""
    back_s: float = 2.5
    """An age that says it is sending again, for sensors of 0.5 Hz and faster."""
    clear_after_s: int = 4
    """One notification keeps the age below ``back_s`` for 3 s; the fourth second needs another."""


@dataclass(frozen=True, slots=True)
class ThinningLimits:
    """When notifications arrive at well under the sensor's own rate."""

    window_s: int = 20
    """Chosen: long enough to hold ten notifications of a sensor of 0.5 Hz."""
    least_usual: float = 6.0
    """With fewer in a window a single loss looks like a trend."""
    per_h: float = 0.002
    """A window as thin as comes by chance more often than once in 500 hours, by the share that its
    own link loses, must be followed by another: of 20 that are sent, a link that loses one in ten
    lets nine through once in 860 hours, ten once in 96 and eleven once in 13.  Less often than a
    silence may, since 20 s more matter less here."""
    least_lost: float = 0.03
    """Chosen: as much is lost on a good link in a crowd, before it has shown its own."""
    thin: float = 0.6
    """Radio links lose up to a fifth in a crowd; two in five is a link about to fail."""
    fine: float = 0.8
    """What a link in a crowd reaches again."""
    kept_s: int = 300
    """Chosen: what was usual in the last minutes in which all was well."""
    raise_after_s: int = 3
    """Chosen: the window itself averages; three seconds keep a single burst out."""
    clear_after_s: int = 5
    """Chosen: as above, and slower, so that a wavering link gives one warning."""


@dataclass(frozen=True, slots=True)
class SignalLimits:
    """When a signal counts as weak."""

    weak_dbm: int = -90
    """Receivers of this radio lose packets from about −90 dBm on."""
    fine_dbm: int = -85
    """A body that turns changes the strength by 5 dB and more."""
    fresh_s: float = 30.0
    """An older value says nothing of now."""
    raise_after_s: int = 10
    """Chosen: an arm that passes behind the body takes some seconds."""
    clear_after_s: int = 10
    """Chosen: as above."""


@dataclass(frozen=True, slots=True)
class BatteryLimits:
    """When a battery counts as low."""

    low_percent: int = 15
    """Chosen: coin cells fall off quickly below; and one session should still be possible."""
    fine_percent: int = 20
    """A reading may wander by some percent with temperature and load."""


@dataclass(frozen=True, slots=True)
class SessionLimits:
    """Faults of the computer that captures."""

    jump_ns: int = 500_000_000
    """Time services move a clock by some ms; half a second is a step or a sleep."""
    jump_stands_s: int = 60
    """Chosen: long enough to be seen; the step itself is over at once."""
    late_ns: int = 200_000_000
    """A stamp 0.2 s late shifts a steep rise by 1 bpm; less does not matter at 1 Hz."""
    late_stands_s: int = 10
    """Chosen: long enough to be seen, short enough to count several."""
    disk_low_bytes: int = 200_000_000
    """A capture takes some 3 MB an hour, but a full disk stops everything else first."""
    disk_fine_bytes: int = 300_000_000
    """Chosen: clearly above, since other programs come and go."""


@dataclass(frozen=True, slots=True)
class BrokerLimits:
    """When the broker of the sensors over MQTT counts as away."""

    raise_after_s: int = 3
    """Chosen: a broker that is restarted is back within 2 s; and before any of its sensors is
    called silent."""
    clear_after_s: int = 6
    """Chosen: time for its sensors to publish again before one of them is called silent."""


BROKER: Final = BrokerLimits()
NOT_STARTED: Final = NotStartedLimits()
SILENT: Final = SilentLimits()
THINNING: Final = ThinningLimits()
SIGNAL: Final = SignalLimits()
BATTERY: Final = BatteryLimits()
SESSION: Final = SessionLimits()
