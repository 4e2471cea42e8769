"""Thresholds, with their reasons.  One sensor by itself: contact, beats, unit, repetition."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_LEAST_RR: Final = 236
"""260 bpm: faster than any heart in exercise."""
_MOST_RR: Final = 2560
"""2.5 s, 24 bpm: slower than the slowest valid reading."""


@dataclass(frozen=True, slots=True)
class ContactLimits:
    """When a sensor counts as off the skin."""

    raise_s: int = 3
    """Chosen: contact bits flicker for a second when a strap shifts; for three it is off."""
    least_readings: int = 2
    """One reading may be a slip; a sensor of 0.5 Hz gives the second one in time."""
    range_s: int = 8
    """Longer for a bpm that no heart has: doubled beats make it in bursts of some seconds, and
    those are another rule's."""
    most_s: int = 3
    """Evidence goes so far above what raises it, and so many more good seconds clear it."""
    no_beats_s: float = 6.0
    """A strap on the skin has a beat at least every 2.4 s (25 bpm); two or more are missing."""
    beats_usual: int = 20
    """Beats seen before their absence says anything: some sensors never send RR."""
    beat_gaps_kept: int = 60
    """Chosen: half a minute and more of what is usual; where one in ten gaps between RR is half
    as long as ``no_beats_s``, leaving RR out is the sensor's habit."""
    held_s: float = 7.0
    """Optical sensors hold RR back while the arm moves, but go on with the bpm: off the skin is one
    whose RR stop while its bpm stands still, for longer than it does by chance."""
    least_rr: int = _LEAST_RR
    most_rr: int = _MOST_RR
    no_beats_readings: int = 4
    """So many readings without a beat: lost notifications alone do not make it."""


@dataclass(frozen=True, slots=True)
class BeatLimits:
    """What an RR interval may be beside its neighbours (1/1024 s, or shares of their median)."""

    neighbours: int = 9
    """Nine beats span a breath at rest and follow an interval's rise within 4 s."""
    shown: int = 30
    """What a heart did within so many beats it may do again: two of its slow waves, of 10 s, at
    90 bpm."""
    least_neighbours: int = 5
    """A median of fewer is moved by two bad beats."""
    natural: tuple[tuple[float, float], ...] = ((380, 0.15), (512, 0.22), (650, 0.35), (820, 0.45))
    """By RR (160, 120, 95 and 75 bpm), what a heart itself varies by: well-seated straps swing
    within five beats by 2, 12, 27 and 43 % (99 of 100) above 150, 120, 95 and below 75 bpm, single
    early beats aside, and change to the next beat by 2.5, 3, 10 and 19 %."""
    least_rr: int = _LEAST_RR
    most_rr: int = _MOST_RR
    pair_share: float = 0.2
    """Two intervals that together make one do so within what one interval varies, at most."""
    half: float = 0.5
    """A heart's own early beat is hardly shorter than half of its neighbours."""
    whole: float = 0.7
    """After a beat counted twice the next is whole again: of well-seated straps at rest no beat is
    shorter than this, but a heart may hurry for some."""
    missed_ratio: float = 1.65
    """Between one and two beats the middle is 1.5; a little more, for the pause after an early
    beat."""
    missed_many_ratio: float = 2.6
    """From here on at least two beats are missing."""
    rebase: int = 5
    """Five alike in a row that differ from the neighbours are a new rate, not five slips …"""
    alike_share: float = 0.15
    """… alike within what one heart varies in exercise."""


@dataclass(frozen=True, slots=True)
class StrayLimits:
    """How telling one missed or doubled beat is, in a heart above 120 bpm.  In a slower one
    well-seated straps miss hardly any: there each weighs ``most``.
    """

    share: float = 0.1
    """Of a badly seated strap one beat in ten is bad, or more."""
    prior_strays: float = 0.5
    """Before it has shown its own, one beat in 1,000 is taken to be bad by chance, …"""
    prior_beats: int = 500
    """… as if so many had been seen: of well-seated straps above 120 bpm one in 200 to 400 is."""
    kept: int = 2500
    """Chosen: a quarter of an hour of a fast heart, in which chance makes a dozen."""
    together: int = 10
    """Bad beats that lie closer belong together, and do not count as chance."""
    least: float = 2.5
    """A strap that loses one beat in 120 all the time is no better for doing so."""
    most: float = 5.6
    """One in 2,700 by chance; less cannot be known."""
    among: int = 300
    """Where of so many beats …"""
    many: int = 8
    """… as many are bad, it is not chance any more, however far apart they lie: at one in 200 it
    comes once in 20 hours."""


_STRAYS: Final = StrayLimits()


@dataclass(frozen=True, slots=True)
class LooseLimits:
    """When the evidence of bad beats counts as a loose or dry reference.

    Evidence is summed as in a one-sided cumulative sum (Page, Biometrika 1954), in nats: each event
    adds its weight, time takes away.
    """

    strays: StrayLimits = _STRAYS
    raise_at: float = 8.8
    """Below 120 bpm two missed or doubled beats within 12 s or three within 40 s; above, two within
    8 to 25 beats, the more the longer the strap had none, and three within 12, where it loses one
    in 200 by chance.  One alone never; a gap of two and more is not one."""
    most: float = 16.0
    """Chosen: evidence of long ago must not outlive the fault."""
    leak_least: float = 0.2
    """A second takes what it would hold in bad beats, a tenth of the beats; in a slow heart, or
    where none are heard, as much as at 120 bpm."""
    missed_many: float = 2.0
    """Two and more missing in one gap are two missed beats: of a real recording full of gaps four
    in five are such, of 9,700 real beats of sound straps none."""
    swing: float = 2.7
    """A jump beyond what a heart at this rate does, but a movement may be behind it …"""
    swing_fast: float = 1.4
    """… and above 120 bpm an early beat as well …"""
    no_heart_s: float = 0.5
    """A jump to less than half, with no pause after it, is the strap's: a heart's own early beat is
    hardly so short."""
    swing_beats: int = 5
    """… and those within five beats are one swing, which is one event."""
    fast_rr: int = 512
    """120 bpm.  From there on an early beat weighs as a jump; in a slower heart it is its own."""
    missing_time: float = 6.6
    """RR that fall short of the time that passed by two beats or more were left out; once, they
    may have been in a notification that was lost."""
    against_bpm_per_s: float = 1.45
    """The RR and the bpm of one strap contradict each other: seven seconds of it suffice …"""
    against_free_s: int = 5
    """… after these: following a leap the bpm may be ahead of the median of nine beats."""
    leap: float = 5.4
    """Without RR the bpm is all there is: two leaps within seconds."""
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
class UnitSlipLimits:
    """When RR are in another unit than 1/1024 s."""

    span_s: float = 105.0
    """The first and the last beat of a stretch are uncertain by half a second or so each: 1 % of
    it."""
    few_lost: int = 2
    """Where notifications were lost, the stretch is cut: each cut is uncertain by half a beat …"""
    lossy_span_s: float = 200.0
    """… which with one in ten lost adds up to a third of the slip over so long a stretch."""
    slip: float = 1.024
    """1/1024 s taken for ms, or the other way round."""
    band: float = 0.009
    """The uncertainty of ``span_s``: well apart from 1."""
    fine: float = 0.012
    """Halfway between right and slipped."""
    arrival_s: float = 0.03
    """Half of the notifications come within 0.01 s of their time; those that are further off bound
    no beat."""
    beats_vary: float = 0.03
    """A beat that is not told is as long as its neighbours within so much: 90 of 100 change by less
    than this above 95 bpm."""
    against: float = 1.5
    """Chosen: what a beat in the wrong place says against a slip, where one says 1 for it; in the
    right unit a slip makes two to ten times as many."""
    evidence: float = 2.0
    """Of beats that come as a slip has them, where the sum of the RR is a slip's as well …"""
    evidence_alone: float = 8.0
    """… and where it is not, for beats left out; sensors of 85 drawn hours in the right unit came
    to 6."""
    evidence_most: float = 12.0
    """Chosen: evidence of long ago must not outlive the fault."""
    raise_after_s: int = 5
    """Chosen: a slip is steady; a sum of RR that only passes by its value is not."""
    clear_after_s: int = 20
    """Chosen: as above."""


@dataclass(frozen=True, slots=True)
class RelayLimits:
    """When a sensor only repeats another's signal."""

    same_rr: int = 20
    """Beats that must be the same: of a median lag over fewer a late notification decides …"""
    compared_rr: int = 40
    """… among the newest so many …"""
    rr_kept: int = 96
    """… with room for what a relay holds back."""
    share: float = 0.8
    """A relay hands on 98 to 99 % of its lists unchanged; and one in twenty may be lost on either
    side."""
    share_stands: float = 0.4
    """Where one in ten is lost on either side, some stretches hold half: what is told stands …"""
    exact_stands: float = 0.6
    """… as long as more are the same to the tick than two straps on one heart make."""
    most_off: int = 2
    """Rounding on the way moves an RR by a tick or two …"""
    exact_share: float = 0.8
    """… but rarely: two straps on one heart agree to the tick about every other time."""
    one_heart_off: int = 3
    """Two straps on one heart differ by some ms …"""
    one_heart_share: float = 0.6
    """… and lose beats apart; RR that are computed from the bpm differ by what the heart varies."""
    units: tuple[float, ...] = (1.0, 1000 / 1024, 1024 / 1000)
    """Handed on as they are, or with ms taken for 1/1024 s and the other way round …"""
    most_off_slipped: int = 1
    """… which rounds once."""
    lost_rr: int = 10
    """Beats of two or three notifications in a row."""
    every_s: int = 5
    """Chosen: a relay does not come and go within seconds."""
    clear_s: int = 30
    """Chosen: unlike for so long; lost notifications do not make two relays of one."""
    reference_lag_s: float = 0.3
    """A reference is called a relay only when it is later by more than arrival wavers."""
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
    rr_readings: int = 8
    """Two sensors on one heart do not send the same RR, to the tick, so many times."""
    lost: int = 3
    """So many notifications in a row may have been lost on the way to one of the two."""
    clear_unlike: int = 3
    """One unlike reading may be a notification that came together with the next; three are not."""
    clear_alone: int = 30
    """Chosen: for so many readings the other has sent nothing at the same moment."""
    changes: int = 5
    """Equal readings of a steady heart say nothing: so many of them must have been new."""
    least_serial: int = 4
    """Serials such as "0" or "001" are left empty by the maker, not a serial."""


CONTACT: Final = ContactLimits()
BEAT: Final = BeatLimits()
LOOSE: Final = LooseLimits()
UNIT_SLIP: Final = UnitSlipLimits()
RELAY: Final = RelayLimits()
SAME_SENSOR: Final = SameSensorLimits()
