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
class FollowingLimits:
    """When the delay of a test sensor can be told."""

    window_s: int = 180
    """Long enough for an effort and its return, short enough to follow a band that slips."""
    least_s: int = 60
    """Less holds no change of effort."""
    every_s: int = 20
    """Chosen: the delay of a sensor does not change from one second to the next."""
    valid_s: int = 600
    """Chosen: what was seen in the last effort still holds in the rest after it."""
    most_delay_s: int = 40
    """Twice what optical sensors need; beyond, it is not a delay any more."""
    least_range_mbpm: int = 15_000
    """A reference that hardly moved looks alike under every delay."""
    most_spread_mbpm: float = 8_000.0
    """Beyond this it does not follow at all."""
    gain: float = 0.7
    """The best delay must be better than the worst by this much, or nothing was told apart."""


@dataclass(frozen=True, slots=True)
class FrozenLimits:
    """When a value that does not change counts as frozen."""

    least_s: int = 8
    """A heart at a steady pace shows the same whole bpm for many seconds; less is never frozen."""
    runs: float = 1.3
    """Chosen: longer than its own longer recent runs by a third; coarse sensors are not accused."""
    runs_most_s: int = 30
    """Chosen: beyond this the own history excuses nothing any more."""
    runs_kept: int = 60
    """Chosen: some minutes of history, so that a change of effort renews it."""
    lag_s: int = 20
    """Optical sensors follow 5 to 20 s late: while a sensor's own delay is not known, the others
    must have moved whichever of these is assumed, else the value may not have got there yet."""
    delay_slack_s: int = 4
    """A known delay is known to some seconds, and differs between rise and fall."""
    moved_mbpm: int = 4_500
    """Chosen: more than the jitter of a steady heart that has been smoothed over 5 s."""
    moved_least_mbpm: int = 2_500
    """Chosen: after a long run a smaller movement suffices."""
    relax_mbpm_per_s: int = 60
    """Chosen: the step between the two, reached after half a minute."""
    moved_spreads: float = 1.5
    """A sensor that follows loosely may stand still by chance: the movement must stand out of
    the spread with which it follows."""
    smooth_s: int = 5
    """Optical sensors average over seconds; a movement that is gone within them is not missed."""
    same_rr_packets: int = 8
    """The same RR list eight times: two hearts beats rarely agree to 1 ms, and never so often."""
    own_rr_mbpm: int = 3_000
    """Chosen: the sensor's own RR say another rate than its bpm by more than averaging does."""
    own_rr_s: int = 4
    """Chosen: a contradiction for as long as straps need to bring the RR into the average."""
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


@dataclass(frozen=True, slots=True)
class BeatLimits:
    """What an RR interval may be beside its neighbours (1/1024 s, or shares of their median)."""

    neighbours: int = 9
    """Nine beats span a breath at rest and follow an interval's rise within 4 s."""
    least_neighbours: int = 5
    """A median of fewer is moved by two bad beats."""
    least_share: float = 0.15
    """In exercise successive RR differ by 1 to 3 %; real recordings of well seated straps hold
    one beat in some thousands beyond 10 % and none beyond 15 %."""
    spreads: float = 5.0
    """At rest the RR swing with each breath: five of the wearer's own mean deviations."""
    most_share: float = 0.40
    """Beyond this even a breathing heart at rest does not go, and a missed beat would hide."""
    usual_spread: float = 0.02
    """Where the own deviation starts from, until it is known."""
    spread_beats: int = 40
    """Beats over which the own deviation is learned: a few breaths."""
    least_rr: int = 236
    """260 bpm: faster than any heart in exercise."""
    most_rr: int = 2560
    """2.5 s, 24 bpm: slower than the slowest valid reading."""
    pair_share: float = 0.2
    """Two intervals that together make one (or two) beats do so within a fifth."""
    missed_ratio: float = 1.65
    """Between one and two beats the middle is 1.5; a little more, for the pause after an early
    beat."""
    missed_many_ratio: float = 2.6
    """From here on at least two beats are missing."""
    rebase: int = 5
    """Five alike in a row that differ from the neighbours are a new rate, not five slips."""


@dataclass(frozen=True, slots=True)
class LooseLimits:
    """When the evidence of bad beats counts as a loose or dry reference.

    Evidence is summed as in a one-sided cumulative sum (Page, Biometrika 1954): each bad beat
    adds its weight, time takes away.
    """

    raise_at: float = 5.0
    """Two missed or doubled beats within about 15 s; one alone never suffices."""
    most: float = 10.0
    """Chosen: evidence of long ago must not outlive the fault."""
    leak_per_s: float = 0.2
    """Two slips more than 15 s apart have nothing to do with each other."""
    missed: float = 4.0
    """A heart in exercise does not skip, and does not beat twice."""
    missed_many: float = 4.9
    """Almost enough alone: nothing but a lost electrode makes it."""
    jump: float = 2.5
    """Unexplained, but an early beat or a change of posture may be behind it."""
    ectopic: float = 1.5
    """The heart itself does this: single early beats are common, a run of them is not."""
    impossible: float = 2.5
    """Some straps send one such RR now and then in an otherwise sound stream."""
    missing_time: float = 5.0
    """RR that fall short of the time that passed by two beats or more: they were left out."""
    against_bpm_per_s: float = 1.2
    """The RR and the bpm of one strap contradict each other: five seconds of it suffice."""
    leap: float = 3.0
    """One leap may be the end of a fault; two are a fault."""
    clear_s: int = 30
    """Without a bad beat for this long it is seated again: at one bad beat in 100 the next would
    have come, half of the times, within 70 beats."""
    slack_s: float = 0.2
    """Arrival wavers by some tens of ms; single late notifications are passed over anyway."""
    account_s: int = 20
    """Stretch over which the RR are held against the time that passed: long enough to hold two
    of the beats left out by a strap that loses one in ten."""
    account_slope: float = 0.03
    """RR in another unit (1.024) or rounded down differ from time by up to 2.5 %, steadily; that
    is another rule's."""
    gap_spacings: float = 1.7
    """A wider spacing than this many usual ones: a notification was lost, and its RR with it."""
    against_bpm_mbpm: int = 8_000
    """Straps average their bpm over some beats; more than 8 bpm outside of what the RR said in
    the last seconds is no averaging."""
    against_bpm_s: int = 15
    """Straps average over up to 15 s."""
    leap_mbpm: int = 15_000
    """A change between two readings that no heart makes: 15 bpm at once …"""
    leap_mbpm_per_s: int = 5_000
    """… and 5 bpm a second, the steepest start of exercise (80 bpm, time constant 15 s)."""
    leap_s: float = 3.0
    """Readings further apart than this say nothing of a leap."""
    settle_s: int = 10
    """Straps find their rate during the first seconds after they are put on or found again."""


BEAT: Final = BeatLimits()
LOOSE: Final = LooseLimits()
SILENT: Final = SilentLimits()
NOT_STARTED: Final = NotStartedLimits()
CONTACT: Final = ContactLimits()
FOLLOWING: Final = FollowingLimits()
FROZEN: Final = FrozenLimits()
REFERENCE_LOST: Final = ReferenceLostLimits()
BATTERY: Final = BatteryLimits()
"""What the rules use unless a test says otherwise."""
