"""Outvoted reference: independent sensors agree with each other and not with the reference."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.board.rules.base import BAD, GOOD, UNSURE, Explanation, Verdict
from analysis.board.rules.cadence import OnCadence
from analysis.board.rules.deviation import Deviation
from analysis.board.rules.relay import Relay
from analysis.board.rules.sensor_rule import SensorRule
from analysis.board.rules.thresholds import OUTVOTED, OutvotedLimits
from analysis.board.snapshot import Measure, WarningKind
from analysis.statistics.pairing import NO_VALUE

if TYPE_CHECKING:
    from analysis.board.rules.loose import LooseReference
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState


class OutvotedReference(SensorRule):
    """A majority of the sensors against the reference, which has a vote of its own.

    A test sensor has no vote while it repeats another's signal, lies on the cadence, or is off
    by no more than its delay or a blunted peak explains: optical sensors share those errors.  RR
    that are sound and agree with the bpm of the reference are a second vote for it: two wrists
    that are cold together do not win against them.
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
        relay_of = {relay.sensor: relay for relay in relays}
        cadence_of = {rule.sensor: rule for rule in on_cadence}
        self._voters = tuple(
            (test, deviation, relay_of.get(test.number), cadence_of.get(test.number))
            for test, deviation in zip(session.tests, deviations, strict=True)
        )
        self._loose = loose
        self._score = 0.0
        self._since = 0
        self._against: tuple[SensorState, ...] = ()
        self._fine_s = 0

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`."""
        within = self.session.tolerance.within
        with_it = voters = followers = 0
        above: list[SensorState] = []
        below: list[SensorState] = []
        held_back = False
        own_rr = self._loose.contradicts_bpm if self._loose is not None else None
        for test, deviation, relay, cadence in self._voters:
            now = deviation.look(second)
            if (
                not now.paired
                or (relay is not None and relay.repeats is not None)
                or (cadence is not None and cadence.suspected)
            ):
                continue
            voters += 1
            if now.side == 0:
                with_it += 1
            elif own_rr is not None and within(own_rr, test.held[second]):
                (above if now.side > 0 else below).append(test)
            elif now.unexplained:
                followers += now.follows
                (above if now.side > 0 else below).append(test)
            else:
                held_back = True
        if voters < self._limits.least:
            return UNSURE
        if self._loose is not None and self._loose.bad_beats >= self._limits.bad_beats:
            return UNSURE
        against = max(self._agreeing(above, second), self._agreeing(below, second), key=len)
        defended = 1 + with_it + (own_rr is None and self._beats_are_sound())
        if len(against) >= self._limits.least and len(against) > defended:
            if self._score == 0:
                self._since = second
            self._against = tuple(against)
            self._fine_s = 0
            weight = 1.0 if own_rr is None else self._limits.contradicted
            if followers:
                weight *= self._limits.blunt_weight
            self._score = min(self._score + weight, self._needed_s())
        elif not held_back or with_it:
            self._score = max(0.0, self._score - 1)
            self._fine_s += 1
            if self._fine_s >= self._limits.clear_s:
                self._score = 0.0
        if self._score >= self._needed_s():
            return BAD
        return GOOD if self._score == 0 else UNSURE

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

    def _needed_s(self) -> int:
        limits = self._limits
        return limits.sound_beats_s if self._beats_are_sound() else limits.raise_s

    def _beats_are_sound(self) -> bool:
        return self._loose is not None and self._loose.beats_are_sound

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
