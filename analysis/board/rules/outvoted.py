"""Outvoted reference: independent sensors agree with each other and not with the reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analysis.board.rules.base import (
    BAD,
    GOOD,
    UNSURE,
    UNTIL_NEWS,
    Explanation,
    SensorRule,
    Verdict,
)
from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.deviation import Deviation
from analysis.board.rules.relay import Relay
from analysis.board.rules.thresholds import OUTVOTED, OutvotedLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.rules.loose import LooseReference
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


@dataclass(frozen=True, slots=True)
class _Voter:
    """A test sensor, and what may cost it its vote."""

    test: SensorState
    deviation: Deviation
    relay: Relay | None
    cadence: OnCadence | None

    @property
    def is_disqualified(self) -> bool:
        """Whether it repeats another's signal, or seems to lie on the cadence."""
        if self.relay is not None and self.relay.repeats is not None:
            return True
        return self.cadence is not None and self.cadence.suspected


@dataclass(slots=True)
class _Votes:
    """One second's count: ``above``, ``below``: those against the reference, by side;
    ``followers``: those of them that go the reference's way, less far; ``held_back``: whether
    one is off by no more than its delay explains.
    """

    voters: int = 0
    with_it: int = 0
    followers: int = 0
    held_back: bool = False
    leapt: bool = False
    above: list[SensorState] = field(default_factory=list)
    below: list[SensorState] = field(default_factory=list)


class OutvotedReference(SensorRule):
    """A majority of the sensors against the reference, which has a vote of its own.

    A test sensor has no vote while it repeats another's signal, lies on the cadence, or is off
    by no more than its delay or a blunted peak explains: optical sensors share those errors.  RR
    that are sound and agree with the bpm of the reference are a second vote for it: two wrists
    that are cold together do not win against them.  Not so where the difference began with a leap
    of the reference that no heart makes: its RR are sound then, but another's.
    """

    kind = WarningKind.OUTVOTED_REFERENCE

    def __init__(
        self,
        session: SessionState,
        watched: SensorState,
        deviations: Sequence[Deviation],
        *,
        relays: Sequence[Relay] = (),
        on_cadence: Sequence[OnCadence] = (),
        loose: LooseReference | None = None,
        limits: OutvotedLimits = OUTVOTED,
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._deviations = tuple(deviations)
        for deviation in deviations:
            deviation.told.append(self)
        relay_of = {relay.sensor: relay for relay in relays}
        cadence_of = {rule.sensor: rule for rule in on_cadence}
        self._voters = tuple(
            _Voter(test, deviation, relay_of.get(test.number), cadence_of.get(test.number))
            for test, deviation in zip(session.tests, deviations, strict=True)
        )
        self._loose = loose
        self._score = 0.0
        self._since = 0
        self._against: tuple[SensorState, ...] = ()
        self._fine_s = 0
        self._leapt = False

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        self.quiet_until = 0
        if self._score == 0 and not self._somebody_is_off(second):
            self.quiet_until = UNTIL_NEWS  # nearly always: none is against it, and none was
            return GOOD
        limits, loose = self._limits, self._loose
        own_rr = loose.contradicts_bpm if loose is not None else None
        votes = self._count_votes(second, own_rr)
        if votes.voters < limits.least:
            return UNSURE
        if loose is not None and loose.bad_beats >= limits.bad_beats:
            return UNSURE
        against = max(self._agreeing(votes.above, second), self._agreeing(votes.below, second),
                      key=len)  # fmt: skip
        self._leapt = votes.leapt
        defended = 1 + votes.with_it + (own_rr is None and self._beats_are_sound())
        if len(against) >= limits.least and len(against) > defended:
            weight = 1.0 if own_rr is None else limits.contradicted
            if votes.followers:
                weight *= limits.blunt_weight
            self._outvoted(second, against, weight)
        elif not votes.held_back or votes.with_it:
            self._not_outvoted()
        if self._score >= self._needed_s():
            return BAD
        return GOOD if self._score == 0 else UNSURE

    def _somebody_is_off(self, second: int) -> bool:
        return any(one.look(second).side for one in self._deviations)

    def _count_votes(self, second: int, own_rr: int | None) -> _Votes:
        """Who stands where; ``own_rr``: the rate by its RR where its bpm contradicts them."""
        within = self.session.tolerance.within
        votes = _Votes()
        for voter in self._voters:
            test, now = voter.test, voter.deviation.look(second)
            if not now.paired or voter.is_disqualified:
                continue
            votes.voters += 1
            side = votes.above if now.side > 0 else votes.below
            if now.side == 0:
                votes.with_it += 1
            elif own_rr is not None and within(own_rr, test.held[second]):
                side.append(test)
            elif now.unexplained:
                votes.followers += now.follows
                votes.leapt |= now.reference_leapt
                side.append(test)
            else:
                votes.held_back = True
        return votes

    def _outvoted(self, second: int, against: Sequence[SensorState], weight: float) -> None:
        if self._score == 0:
            self._since = second
        self._against = tuple(against)
        self._fine_s = 0
        self._score = min(self._score + weight, self._needed_s())

    def _not_outvoted(self) -> None:
        self._score = max(0.0, self._score - 1)
        self._fine_s += 1
        if self._fine_s >= self._limits.clear_s:
            self._score = 0.0

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        second = self.session.second
        names = " and ".join(test.label for test in self._against)
        values = [test.held[second] for test in self._against if test.held[second] != NO_VALUE]
        theirs = sum(values) / len(values) / 1000 if values else 0.0
        own = self.watched.held[second] / 1000
        return Explanation(
            f"{names} agree with each other at {theirs:.0f} bpm and not with {self.name}, which "
            f"shows {own:.0f}: the reference is the suspect.",
            "Count the pulse at the neck for 15 s to see who is right; then wet and tighten the "
            "strap, or put on another.",
            (
                Measure("time outvoted", self._score, "s", self._needed_s()),
                Measure("sensors against it", len(self._against), "", self._limits.least),
                Measure("their mean", theirs, "bpm"),
                Measure("the reference", own, "bpm"),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        return "The sensors that agreed with each other no longer stand against it."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._score = 0.0
        self._fine_s = 0
        self._leapt = False

    def _needed_s(self) -> int:
        limits = self._limits
        return limits.sound_beats_s if self._beats_are_sound() else limits.raise_s

    def _beats_are_sound(self) -> bool:
        return self._loose is not None and self._loose.beats_are_sound and not self._leapt

    def _agreeing(self, tests: list[SensorState], second: int) -> list[SensorState]:
        """The largest group in which neighbours by value agree within the tolerance."""
        if len(tests) < self._limits.least:
            return []
        within = self.session.tolerance.within
        ordered = sorted(tests, key=lambda test: test.held[second])
        best: list[SensorState] = []
        for at, first in enumerate(ordered):
            low = first.held[second]
            group = [test for test in ordered[at:] if within(low, test.held[second])]
            if len(group) > len(best):
                best = group
        return best
