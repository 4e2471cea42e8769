"""Thresholds, with their reasons.  Sensors beside each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class ReferenceLostLimits:
    """When the reference counts as lost although no other rule says why."""

    raise_after_s: int = 10
    """Longer than silence and lost contact take to be told, so that those name the cause."""
    clear_after_s: int = 3
    """As long as a reading is held: it did not come back for a single notification."""


@dataclass(frozen=True, slots=True)
class DelayLimits:
    """When the delay of a test sensor can be told."""

    window_s: int = 180
    """Long enough for an effort and its return, short enough to follow a band that slips."""
    mixed_mbpm: float = 2_500.0
    """A spread that is wider than the jitter of a sensor: it follows loosely, or its delay has
    changed meanwhile; the last effort alone then says which …"""
    short_s: int = 90
    """… in half the time."""
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

    least: int = 10
    """Readings: of real wrist and arm sensors one run in a hundred is longer than 6 to 13 …"""
    least_s: int = 8
    """… and a heart at a steady pace shows one whole bpm for seconds at any rate of sending."""
    runs_share: float = 0.95
    """Longer than its own longer recent runs: coarse sensors are not accused of being coarse."""
    runs_times: float = 1.5
    """By how much: sensors that average and hold show one value for half a minute at rest."""
    runs_most: int = 60
    """Chosen: beyond this the own history excuses nothing any more."""
    runs_kept: int = 60
    """Chosen: some minutes of history, so that a change of effort renews it."""
    silence_s: int = 60
    """A badly worn armband held one value for minutes, with silences of some seconds in between;
    after a minute it may have been put on anew."""
    lag_s: int = 20
    """Optical sensors follow 5 to 20 s late: while a sensor's own delay is not known, the others
    must have moved whichever of these is assumed, else the value may not have got there yet."""
    delay_slack_s: int = 6
    """A known delay is known to some seconds, differs between rise and fall by up to 5 s, and
    smoothing adds to it."""
    moved_mbpm: int = 8_000
    """What others must move beside a run of ``least`` readings: smoothed sensors stand still for
    as long at each turn of the heart; …"""
    moved_least_mbpm: int = 5_000
    """… less in proportion the longer the run, down to what a steady heart wanders, beside a
    strap only: of armbands the error alone has a standard deviation of 5 to 8 bpm, and after 10 s
    it is another …"""
    long: int = 25
    """… from so many readings on: real sensors that were well worn held none so long while the
    heart moved."""
    left_mbpm: int = 5_000
    """By so much, the tolerance of a steady heart, they must have left the value that stands still:
    at the turn of a dip, and at rest, a sensor that averages over 10 to 30 s shows the middle
    between two rates that lie 8 bpm apart."""
    habit_runs: int = 20
    """So many changes must have been seen before a sensor has a habit of changing."""
    habit: float = 4.0
    """A run so many times its longer ones breaks the habit: even a sensor that is late would show
    the jitter of the heart of some seconds ago …"""
    still_share: float = 0.5
    """… unless the heart itself stood still then, for half as long."""
    moved_spreads: float = 2.0
    """A sensor that follows loosely may stand still by chance: the movement must stand out of
    the spread with which it follows."""
    reference_times: float = 2.0
    """Optical sensors swing by themselves: to accuse a reference, or alone, they must move twice as
    much."""
    smooth_s: int = 10
    """Breathing and the slow waves of the blood pressure (one in 10 s) move a heart at rest by
    5 bpm and more to and fro; a sensor that averages them away is not frozen."""
    repeated_beats: int = 12
    """So many RR in a row that are those of a few beats before, to 1/1024 s: of real recordings of
    exercise none holds more than five …"""
    constant_beats: int = 16
    """… but some hold one interval 14 times in a row, where a recorder filled a hole."""
    repeats_chance: float = 1e-6
    """Coarse RR repeat by chance: as many must, as its own habit makes once in so many beats."""
    own_rr_window_s: int = 10
    """Two breaths: the median of the RR within is the rate that a bpm is held against."""
    own_rr_beats: int = 6
    """Fewer within that time are no rate."""
    own_rr_mbpm: int = 5_000
    """A steady ECG rate stands for long while its RR wander by some bpm with each breath."""
    own_rr_s: int = 2
    """Chosen: the median has averaged already; one more second keeps a single beat out."""
    own_rr_behind_s: int = 12
    """The bpm of an optical sensor comes 5 to 10 s behind the heart, and so behind its own RR: at
    the turn of a recovery it stands still while they have gone on."""
    clear_after_s: int = 2
    """Chosen: the value has changed and kept changing or staying for another second."""


@dataclass(frozen=True, slots=True)
class DeviationLimits:
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
    """When a test sensor counts as apart from the reference: so many seconds outside the tolerance,
    on whichever side, and outside of what a delay explains.
    """

    window_s: int = 80
    """A hard interval keeps blunted sensors out of tolerance for half a minute; …"""
    outside_s: int = 52
    """… two thirds of 80 s are not the interval, and are full within 90 s of an error that comes
    and goes."""
    long_window_s: int = 180
    """Of an error that comes and goes by half: sensors err in stretches of 2 to 10 s, seldom of
    minutes, …"""
    long_outside_s: int = 78
    """… so that three minutes hold half of it as 90 ± 20 s."""
    clear_window_s: int = 45
    """Chosen: longer than an error that comes and goes stays away, …"""
    clear_outside_s: int = 4
    """… with a tenth for what is outside by chance."""


@dataclass(frozen=True, slots=True)
class LateLimits:
    """When a test sensor that follows counts as late."""

    delay_s: int = 20
    """Optical sensors need 5 to 20 s; beyond, short efforts are over before they show."""
    usual: int = 3
    """So many estimates of its own delay must have been made, while it was fine, …"""
    usual_kept: int = 15
    """… of the last minutes of movement, …"""
    more_s: int = 9
    """… for a delay that is longer by so much to be a change of its seat: estimates of one delay
    waver by 2 to 4 s between rises and falls."""
    more_least_s: int = 13
    """Chosen: a delay that is usual for optical sensors is not told, even where it has grown."""
    fine_s: int = 5
    """Chosen: so clearly below the limit, that a sensor which wavers about it gives one warning."""
    estimates: int = 2
    """Chosen: two estimates in a row: one may be made across a change of the band's seat …"""
    agree_s: int = 4
    """… of about the same delay: estimates of one waver by so much between rises and falls."""
    shown: float = 0.5
    """Nearer to the delay than to none, on rises as on falls: on one of them alone it is a lapse
    during that one change …"""
    side_energy: float = 1_000.0
    """… where the delay would show by so much, bpm² s: with errors of 2.5 bpm that last for 10 s
    the share is then known to a quarter."""
    fine_estimates: int = 6
    """Chosen: two minutes of movement; a sensor on the border gives one warning, not one an
    effort."""
    better: float = 0.4
    """The delay must explain most of the difference; values that are wrong for another reason
    also have a best delay, but a poor one."""
    spread_mbpm: float = 4_000.0
    """At its delay a sensor that follows does so within a few bpm, smoothing included …"""
    mean_mbpm: float = 3_000.0
    """… and without lying above or below: on one long rise or fall an error of the level looks like
    a delay."""
    effort_delay_s: float = 14.0
    """At half of an effort's rise; wrist sensors in good order were seen to need 5 to 10 s, and
    smoothing adds some.  A sensor that sends seldom may be later by as much as it waits."""
    effort_rise_mbpm: int = 8_000
    """Chosen: by so much the reference must have risen while it was awaited; on a slower rise what
    a good sensor errs by looks like a delay."""
    wavers_s: float = 2.0
    """The delays of its efforts lie so close to their middle; one that wavers is not always late.
    Estimates of a delay of 3 s have a standard deviation of 0.2 s (see the delay estimate)."""
    efforts: int = 2
    """One late effort may be a moment's bad seat; …"""
    share: float = 0.75
    """… three of four of the last efforts …"""
    efforts_kept: int = 6
    """… are the sensor."""
    efforts_every_s: int = 5
    """Chosen: so often it is looked whether an effort has returned."""


@dataclass(frozen=True, slots=True)
class CadenceLimits:
    """When a value counts as stuck on the cadence."""

    multiples: tuple[float, ...] = (1.0, 2.0, 0.5)
    """Some pods count strides, and an arm swings once for two steps."""
    near_mbpm: int = 4_000
    """Cadence and bpm are whole numbers, and both are averaged over some seconds."""
    raise_s: float = 28.0
    """A heart on its way from one rate to another passes the band of 8 bpm within 10 s; a sensor
    that follows late, within 20 s; one that has lost the pulse, and rests somewhere for 2 to 10 s
    mostly, within 25 s."""
    clear_s: int = 15
    """Chosen: off the cadence, or with the reference again, for as long as a lock takes to end."""
    blunt_weight: float = 0.4
    """A value that has followed the reference part of the way may rest near the cadence by
    chance: it needs 70 s."""
    steps_low_mbpm: int = 150_000
    steps_high_mbpm: int = 190_000
    """Running: 150 to 190 steps a minute; where no cadence sensor is there, only this range is
    suspected."""
    flat_mbpm: int = 5_000
    """Runners keep their step rate within a few steps a minute."""
    flat_s: int = 15
    """Chosen: flat for longer than a heart under changing effort stays within 6 bpm by chance."""
    without_s: float = 42.0
    """Without a cadence sensor, or without a reference, half as much again is asked for."""


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
    half."""
    contradicted: float = 2.0
    """Seconds a second counts for while the reference's own RR side with the others."""
    bad_beats: int = 6
    """Of the last 60: a reference with so many is loose, and that is told already."""


@dataclass(frozen=True, slots=True)
class SwappedLimits:
    """When a test sensor does what the reference is expected to do."""

    lead_s: float = 2.0
    """No optical sensor is before a strap; readings on the grid are up to a second old each."""
    most_s: float = 30.0
    """What comes longer before the effort is not of it."""
    efforts: int = 3
    """Two efforts may fall into the reference's bad moment."""
    share: float = 0.75
    """Chosen: so many of the last efforts, …"""
    efforts_kept: int = 8
    """… of so many."""
    readings: int = 60
    """A minute of each: a strap's first packets may come without RR."""
    of_a_strap: float = 0.9
    """A strap sends RR in nearly every notification, none in under 0.1 %; optical sensors leave
    some out."""


REFERENCE_LOST: Final = ReferenceLostLimits()
DELAY: Final = DelayLimits()
FROZEN: Final = FrozenLimits()
DEVIATION: Final = DeviationLimits()
APART: Final = ApartLimits()
LATE: Final = LateLimits()
CADENCE: Final = CadenceLimits()
OUTVOTED: Final = OutvotedLimits()
SWAPPED: Final = SwappedLimits()
