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
    beat_gaps_kept: int = 60
    """Chosen: half a minute and more of what is usual; where one in ten gaps between RR is half
    as long as ``no_beats_s``, leaving RR out is the sensor's habit."""
    no_beats_readings: int = 4
    """So many readings without a beat: lost notifications alone do not make it."""


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
    runs: float = 1.0
    """Longer than its own longer recent runs: coarse sensors are not accused of being coarse."""
    runs_share: float = 0.95
    """Which of its own recent runs counts as long."""
    runs_most_s: int = 30
    """Chosen: beyond this the own history excuses nothing any more."""
    runs_kept: int = 60
    """Chosen: some minutes of history, so that a change of effort renews it."""
    lag_s: int = 20
    """Optical sensors follow 5 to 20 s late: while a sensor's own delay is not known, the others
    must have moved whichever of these is assumed, else the value may not have got there yet."""
    delay_slack_s: int = 4
    """A known delay is known to some seconds, and differs between rise and fall."""
    moved_mbpm: int = 8_000
    """Chosen: what others must move while a run is only as long as usual; less in proportion,
    the more the run stands out …"""
    moved_least_mbpm: int = 3_000
    """… but never less than the jitter of a steady heart that has been smoothed over 5 s."""
    moved_spreads: float = 2.0
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
    """Two missed or doubled beats within about 20 s; one alone never suffices."""
    most: float = 10.0
    """Chosen: evidence of long ago must not outlive the fault."""
    leak_per_s: float = 0.15
    """Two slips more than 20 s apart have nothing to do with each other."""
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
    missing_time: float = 4.0
    """RR that fall short of the time that passed by two beats or more were left out; once, they
    may have been in a notification that was lost."""
    against_bpm_per_s: float = 1.2
    """The RR and the bpm of one strap contradict each other: five seconds of it suffice."""
    leap: float = 2.4
    """A leap of the RR and of the bpm that is made of them are one leap, and one is not enough."""
    leap_alone: float = 3.5
    """Without RR the bpm is all there is: two leaps within 10 s."""
    clear_s: int = 30
    """Without a bad beat for this long it is seated again: at one bad beat in 100 the next would
    have come, half of the times, within 70 beats."""
    slack_s: float = 0.4
    """Notifications arrive some tenths of a second late while a radio repeats packets; single
    late ones are passed over anyway."""
    account_s: int = 20
    """Stretch over which the RR are held against the time that passed: long enough to hold two
    of the beats left out by a strap that loses one in ten."""
    gap_spacings: float = 1.5
    """A wider spacing than this many usual ones: a notification was lost, and its RR with it."""
    against_bpm_mbpm: int = 8_000
    """Straps average their bpm over some beats; more than 8 bpm outside of what the RR said in
    the last seconds is no averaging."""
    against_free_s: int = 3
    """After a leap the bpm may be ahead of the median of nine beats by some seconds."""
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


@dataclass(frozen=True, slots=True)
class ThinningLimits:
    """When notifications arrive at well under the sensor's own rate."""

    window_s: int = 20
    """Chosen: long enough to hold ten notifications of a sensor of 0.5 Hz."""
    least_usual: float = 6.0
    """With fewer in a window a single loss looks like a trend."""
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
class DepartureLimits:
    """When a difference is more than a delay or a blunted peak can explain."""

    delay_s: int = 25
    """Delay up to which a sensor may merely follow, while its own is not known."""
    delay_slack_s: int = 6
    """A known delay differs by some seconds between rise and fall, and smoothing adds to it."""
    moved_mbpm: int = 10_000
    """Chosen: a change of the reference from which it can be told whether a sensor follows it."""
    leap_mbpm: int = 12_000
    """No heart moves the reference by so much in a second: nobody is expected to follow it."""
    follows: float = 0.35
    """A sensor that has gone at least this part of the way follows, if bluntly: optical sensors
    show half of a short effort's rise."""


@dataclass(frozen=True, slots=True)
class ApartLimits:
    """When a test sensor counts as apart from the reference."""

    raise_s: int = 60
    """A hard interval keeps blunted sensors out of tolerance for half a minute; beyond a minute
    it is not the interval."""
    unlike_s: int = 2
    """Chosen: seconds within tolerance weigh double against it."""
    clear_s: int = 20
    """Chosen: back within tolerance for as long as a delayed sensor may take to pass through."""


@dataclass(frozen=True, slots=True)
class LateLimits:
    """When a test sensor that follows counts as late."""

    delay_s: int = 20
    """Optical sensors need 5 to 20 s; beyond, short efforts are over before they show."""
    fine_s: int = 17
    """Chosen: clearly below, so that an estimate that wavers by 2 s gives one warning."""
    estimates: int = 2
    """Chosen: two estimates in a row: one may be made across a change of the band's seat."""
    better: float = 0.4
    """The delay must explain most of the difference; values that are wrong for another reason
    also have a best delay, but a poor one."""
    spread_mbpm: float = 4_000.0
    """At its delay a sensor that follows does so within a few bpm, smoothing included …"""
    mean_mbpm: float = 5_000.0
    """… and without lying above or below."""


@dataclass(frozen=True, slots=True)
class CadenceLimits:
    """When a value counts as stuck on the cadence."""

    multiples: tuple[float, ...] = (1.0, 2.0, 0.5)
    """Some pods count strides, and an arm swings once for two steps."""
    near_mbpm: int = 4_000
    """Cadence and bpm are whole numbers, and both are averaged over some seconds."""
    raise_s: float = 20.0
    """A heart on its way from one rate to another passes the band of 8 bpm within 10 s; a sensor
    that follows late, within 20 s."""
    clear_s: int = 15
    """Chosen: off the cadence, or with the reference again, for as long as a lock takes to end."""
    blunt_weight: float = 0.4
    """A value that has followed the reference part of the way may rest near the cadence by
    chance: it needs 50 s."""
    steps_low_mbpm: int = 150_000
    steps_high_mbpm: int = 190_000
    """Running: 150 to 190 steps a minute; where no cadence sensor is there, only this range is
    suspected."""
    flat_mbpm: int = 5_000
    """Runners keep their step rate within a few steps a minute."""
    flat_s: int = 15
    """Chosen: flat for longer than a heart under changing effort stays within 6 bpm by chance."""
    without_s: float = 30.0
    """Without a cadence sensor half as much again is asked for."""


@dataclass(frozen=True, slots=True)
class OutvotedLimits:
    """When test sensors that agree with each other make the reference the suspect."""

    least: int = 2
    """One against one is no vote."""
    raise_s: int = 25
    """Chosen: optical sensors err alike for 10 to 20 s after a change of effort."""
    sound_beats_s: int = 35
    """A reference whose RR are sound and agree with its bpm is given longer."""
    clear_s: int = 20
    """Chosen: as for a sensor apart."""
    blunt_weight: float = 0.5
    """Sensors that have gone part of the way with the reference may only be blunted: they count
    half, and two of them not at all against RR that are sound."""
    many: int = 3
    """Chosen: so many at one value are not all blunted by the same amount."""
    contradicted: float = 2.0
    """Seconds a second counts for while the reference's own RR side with the others."""
    bad_beats: int = 6
    """Of the last 60: a reference with so many is loose, and that is told already."""


@dataclass(frozen=True, slots=True)
class RelayLimits:
    """When a sensor only repeats another's signal."""

    same_rr: int = 20
    """Two straps on one heart agree in an RR to 1/1024 s about every other time; in 20 in a row,
    once in a million."""
    rr_kept: int = 64
    """Some 20 s of beats: more than a relay holds back."""
    most_lag_s: float = 6.0
    """A relay hands on within seconds; beyond, equal values are chance."""
    lag_band_s: float = 0.6
    """"A constant moment later": a relay that asks once a second adds up to a second of waver."""
    turn: float = 1.0
    """A turn that is repeated exactly: half of the times a sensor of its own would not."""
    leap: float = 0.5
    """A leap over a value: on a steep rise a sensor of its own has the same chance to skip it."""
    plain: float = 0.15
    """The next value of a rise: any sensor would pass it."""
    unlike: float = 3.0
    """A value that the other did not show speaks against it as three turns for it."""
    raise_at: float = 7.0
    """Seven turns repeated exactly: by chance once in a hundred such stretches, and two sensors
    with the same averaging are rare."""
    clear_unlike: int = 20
    """Chosen: changes in a row of which most were not repeated."""
    tie_s: float = 0.1
    """Closer together than this, order of arrival does not tell who repeats whom."""


@dataclass(frozen=True, slots=True)
class SameSensorLimits:
    """When two planned sensors are one."""

    window_s: float = 0.1
    """Two subscriptions to one sensor deliver within some ms."""
    readings: int = 15
    """Chosen: a quarter of a minute at 1 Hz without a difference."""
    changes: int = 5
    """Equal readings of a steady heart say nothing: so many of them must have been new."""
    least_serial: int = 4
    """Serials such as "0" or "001" are left empty by the maker, not a serial."""


@dataclass(frozen=True, slots=True)
class UnitSlipLimits:
    """When RR are in another unit than 1/1024 s."""

    span_s: float = 105.0
    """The first and the last beat of a stretch are uncertain by half a second or so each: 1 % of
    it."""
    slip: float = 1.024
    """1/1024 s taken for ms, or the other way round."""
    band: float = 0.009
    """The uncertainty of ``span_s``: well apart from 1."""
    fine: float = 0.012
    """Halfway between right and slipped."""
    raise_after_s: int = 5
    """Chosen: a slip is steady; a sum of RR that only passes by its value is not."""
    clear_after_s: int = 20
    """Chosen: as above."""


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


BEAT: Final = BeatLimits()
THINNING: Final = ThinningLimits()
DEPARTURE: Final = DepartureLimits()
APART: Final = ApartLimits()
LATE: Final = LateLimits()
CADENCE: Final = CadenceLimits()
OUTVOTED: Final = OutvotedLimits()
RELAY: Final = RelayLimits()
SAME_SENSOR: Final = SameSensorLimits()
UNIT_SLIP: Final = UnitSlipLimits()
SESSION: Final = SessionLimits()
SIGNAL: Final = SignalLimits()
LOOSE: Final = LooseLimits()
SILENT: Final = SilentLimits()
NOT_STARTED: Final = NotStartedLimits()
CONTACT: Final = ContactLimits()
FOLLOWING: Final = FollowingLimits()
FROZEN: Final = FrozenLimits()
REFERENCE_LOST: Final = ReferenceLostLimits()
BATTERY: Final = BatteryLimits()
"""What the rules use unless a test says otherwise."""
