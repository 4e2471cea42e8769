"""Labels swapped: a test sensor that does what the reference is expected to do."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from statistics import median
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
from analysis.board.rules.thresholds import SWAPPED, SwappedLimits
from analysis.board.snapshot import Measure, WarningKind

if TYPE_CHECKING:
    from analysis.board.sensor import SensorState
    from analysis.board.session_state import SessionState
    from analysis.statistics.efforts import Response


class SwappedLabels(SensorRule):
    """A test sensor that shows effort after effort before the reference, or that sends what a strap
    sends while the reference does not.
    """

    kind = WarningKind.SWAPPED_LABELS
    sleeps_lightly = True

    def __init__(
        self, session: SessionState, watched: SensorState, limits: SwappedLimits = SWAPPED
    ) -> None:
        super().__init__(session, watched)
        self._limits = limits
        self._leads: deque[float] = deque(maxlen=limits.efforts_kept)
        self._first = self._taken = 0
        self._ours = 0
        self._ours_of_a_strap = 0
        self._theirs = 0
        self._theirs_of_a_strap = 0
        self._since = 0
        self._answers = session.efforts.answers(watched.number)
        self._does_lead = False
        self._by_payload = self._told_by_payload = False

    def step(self, second: int) -> Verdict:
        """See :class:`Rule`.

        Once the reference is seen to be a strap, only another answer can tell: it wakes it.
        """
        self.quiet_until = 0
        answers = self._answers
        if not self._theirs_of_a_strap:
            self._count_what_straps_send()
        if len(answers) != self._taken:  # fewer, where the reference turned out to be at fault
            self._take_answers(answers)
        # Once told by the payloads it stays until the reference sends such, too: a sensor that
        # sends RR in about so many of its readings as are asked for would come and go.
        self._by_payload = not self._theirs_of_a_strap and (
            self._by_payload or self._sends_what_a_strap_sends
        )
        if self._does_lead or self._by_payload:
            self._since = self._since or second
            self._told_by_payload = not self._does_lead
            return BAD
        self._since = 0
        reference_is_a_strap = self._theirs_of_a_strap > 0 and not self._leads
        is_good = len(self._leads) >= self._limits.efforts or reference_is_a_strap
        if self._theirs_of_a_strap:
            self.quiet_until = UNTIL_NEWS
        return GOOD if is_good else UNSURE

    def _count_what_straps_send(self) -> None:
        """Once the reference is seen to be a strap, nobody asks for these counts any more."""
        for _, reading in self.watched.fresh:
            self._ours += 1
            self._ours_of_a_strap += bool(reading.rr) and reading.contact is not None
        for _, reading in self.session.reference.fresh:
            self._theirs += 1
            self._theirs_of_a_strap += bool(reading.rr) or reading.contact is not None

    def _take_answers(self, answers: Sequence[Response]) -> None:
        self._taken = len(answers)
        delays = [one.delay_s for one in answers[self._first :] if one.delay_s is not None]
        self._leads.clear()
        self._leads.extend(-delay for delay in delays if -delay <= self._limits.most_s)
        self._does_lead = self._leads_efforts

    @property
    def _leads_efforts(self) -> bool:
        limits, leads = self._limits, self._leads
        if not self.session.reference.has_electrodes:
            return False  # of two optical sensors one shows an effort before the other
        early = sum(lead > limits.lead_s for lead in leads)
        return early >= limits.efforts and early >= limits.share * len(leads)

    @property
    def _sends_what_a_strap_sends(self) -> bool:
        limits = self._limits
        return (
            self.session.reference.has_electrodes  # what is planned as a strap should send it
            and not self.watched.has_electrodes
            and min(self._ours, self._theirs) >= limits.readings
            and self._theirs_of_a_strap == 0
            and self._ours_of_a_strap >= limits.of_a_strap * self._ours
        )

    def since(self) -> int:
        """See :class:`Rule`."""
        return self._since

    def explain(self) -> Explanation:
        """See :class:`Rule`."""
        reference, limits = self.session.reference.label, self._limits
        early = [lead for lead in self._leads if lead > limits.lead_s]
        if self._leads_efforts:
            what = (
                f"{self.name} shows {len(early)} of {len(self._leads)} efforts before {reference}, "
                f"by {median(early):.0f} s in the middle"
            )
        else:
            what = (
                f"{self.name} sends RR intervals and contact as a strap does, and {reference}, "
                "the reference, sends neither"
            )
        return Explanation(
            f"{what}: are {reference} and {self.watched.label} swapped in the plan?",
            "Look which sensor is worn where; if they are swapped, relabel them, nothing is lost.",
            (
                Measure("efforts it leads", len(early), "", limits.efforts),
                Measure("lead", median(early) if early else 0.0, "s", limits.lead_s),
            ),
        )

    def cleared(self) -> str:
        """See :class:`Rule`."""
        reference = self.session.reference.label
        if not self._leads or self._told_by_payload:
            return f"{reference} sends RR intervals or contact, too."
        return f"It no longer leads {reference}."

    def reset(self) -> None:
        """See :class:`Rule`."""
        self._leads.clear()
        self._does_lead = self._by_payload = False
        self._first = self._taken = len(self.session.efforts.answers(self.watched.number))
        self._ours = self._ours_of_a_strap = self._theirs = self._theirs_of_a_strap = 0
        self._since = 0
