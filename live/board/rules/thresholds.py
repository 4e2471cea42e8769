"""Every threshold of the rules, with its reason beside it.

Times are in seconds of the grid, heart rates in thousandths of a bpm (``_mbpm``).  Reasons that
begin with "Chosen" are our own judgement, tried on simulated sessions; the others are facts of
the sensors or of the heart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class SilentLimits:
    """When a sensor that was heard counts as silent."""

    least_s: float = 5.0
    """Radio links skip 2 to 4 s when the body stands between sensor and computer."""
    spacings: float = 3.0
    """Three of the sensor's own slower spacings: two lost in a row are common, three are not."""
    most_s: float = 8.0
    """Even a sensor that sends every 2 s must be missed within 10 s."""
    companion_s: float = 60.0
    """Cadence and power sensors fall silent by design while nothing turns."""
    back_s: float = 2.5
    """An age that says it is sending again, for sensors of 0.5 Hz and faster."""
    clear_after_s: int = 4
    """One notification keeps the age below ``back_s`` for 3 s; the fourth second needs another."""


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
class ContactLimits:
    """When a sensor counts as off the skin."""

    raise_s: int = 3
    """Chosen: contact bits flicker for a second when a strap shifts; for three it is off."""
    least_readings: int = 2
    """One reading may be a slip; a sensor of 0.5 Hz gives the second one in time."""
    most_s: int = 6
    """Cap of the evidence, and so the good seconds that clear it."""
    no_beats_s: float = 6.0
    """A strap on the skin has a beat at least every 2.4 s (25 bpm); two or more are missing."""
    beats_usual: int = 20
    """Beats seen before their absence says anything: some sensors never send RR."""
    packets_without: float = 0.5
    """Share of notifications without RR above which their absence is the sensor's habit."""


@dataclass(frozen=True, slots=True)
class FrozenLimits:
    """When a value that does not change counts as frozen."""

    least_s: int = 8
    """A heart at a steady pace shows the same whole bpm for many seconds; less is never frozen."""
    runs: float = 1.5
    """Chosen: longer than its own longest recent run by half, so coarse sensors are not accused."""
    runs_most_s: int = 30
    """Chosen: beyond this the own history excuses nothing any more."""
    runs_kept: int = 60
    """Chosen: some minutes of history, so that a change of effort renews it."""
    lag_s: int = 20
    """Optical sensors follow 5 to 20 s late: the others must have moved whichever of these lags
    is assumed, else the value may simply not have got there yet."""
    moved_mbpm: int = 5_000
    """Chosen: more than the jitter of a steady heart that has been smoothed over 5 s."""
    moved_least_mbpm: int = 2_500
    """Chosen: after a long run a smaller movement suffices."""
    relax_mbpm_per_s: int = 60
    """Chosen: the step between the two, reached after about 50 s."""
    smooth_s: int = 5
    """Optical sensors average over seconds; a movement that is gone within them is not missed."""
    same_rr_packets: int = 8
    """The same RR list eight times: two hearts beats rarely agree to 1 ms, and never so often."""
    own_rr_mbpm: int = 4_000
    """Chosen: the sensor's own RR say another rate than its bpm by more than averaging does."""
    clear_after_s: int = 2
    """Chosen: the value has changed and kept changing or staying for another second."""


@dataclass(frozen=True, slots=True)
class ReferenceLostLimits:
    """When the reference counts as lost although no other rule says why."""

    raise_after_s: int = 10
    """Longer than silence and lost contact take to be told, so that those name the cause."""
    clear_after_s: int = 3
    """As long as a reading is held: it did not come back for a single notification."""


@dataclass(frozen=True, slots=True)
class BatteryLimits:
    """When a battery counts as low."""

    low_percent: int = 15
    """Chosen: coin cells fall off quickly below; and one session should still be possible."""
    fine_percent: int = 20
    """A reading may wander by some percent with temperature and load."""


SILENT: Final = SilentLimits()
NOT_STARTED: Final = NotStartedLimits()
CONTACT: Final = ContactLimits()
FROZEN: Final = FrozenLimits()
REFERENCE_LOST: Final = ReferenceLostLimits()
BATTERY: Final = BatteryLimits()
"""What the rules use unless a test says otherwise."""
