"""The record of one session: every number that page, tables, JSON, window and study show.

It is computed once (:func:`analysis.session.compute.compute_record`) and never changed; whoever
shows a number takes it from here.  All of it is plain frozen values, so that it can be written as
JSON and is checked field by field when it is read back (:mod:`analysis.session.cache`).

A new statistic of the session is a field here, filled in by ``compute``; those who show it follow.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from analysis.board.snapshot import RuleFailure, SensorWarning, WarningKind
from analysis.statistics.agreement import Tolerance
from analysis.statistics.closer import Closer
from analysis.statistics.delay import UNSURE
from analysis.statistics.departures import Departures
from analysis.statistics.efforts import Answer, Effort, Kind, Response
from analysis.statistics.error_variance import ErrorVariance
from analysis.statistics.estimate import Estimate, Interval
from analysis.statistics.rise import AT_WORK_BPM, LEAST_RISE_AT_WORK_BPM, LEAST_RISE_BPM
from analysis.statistics.stretch import Stretch
from analysis.statistics.summary import Agreement
from replay.event import NS_PER_S
from replay.plan import Plan

FORMAT: Final = 1
"""Counts up when fields change their meaning without changing their names."""

NOT_ONE_CLOCK: Final = (
    "The sensors were not stamped on one clock: offset and delay cannot be told apart."
)
NO_EFFORTS: Final = (
    f"No efforts were found: the heart rate shows no rise of {LEAST_RISE_BPM:.0f} bpm "
    f"({LEAST_RISE_AT_WORK_BPM:.0f} bpm above {AT_WORK_BPM:.0f} bpm) that returned."
)

FEWEST_DELAYS: Final = 3
"""Changes with a delay at half rise from which their range is worth naming."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What the record was made of, and by what.

    ``uuid``: of the recording, the same in every copy.  ``notes``: notes in the capture when it
    was read, undone ones included.  ``clean``: it was closed; ``whole``: no events are known to be
    missing; ``wholeness``: sentences on what is.  ``recorded_with``: software that recorded.
    ``program``: version that computed; ``computation``: digest of what the numbers depend on in it.
    """

    uuid: str = ""
    started_utc_ns: int = 0
    clean: bool = True
    whole: bool = True
    wholeness: tuple[str, ...] = ()
    recorded_with: str = ""
    notes: int = 0
    program: str = ""
    computation: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFacts:
    """What one compared sensor sent.

    ``notifications``: heart rate payloads; of these ``malformed`` did not decode and ``invalid``
    decoded to what may not be paired.  ``gaps``: stretches of grid seconds without a value.
    ``doubtful_s``: capture times in s of readings of a test sensor that leapt as no heart does;
    they are paired all the same.
    """

    number: int
    label: str
    placement: str
    firmware: str
    model: str
    notifications: int
    malformed: int
    invalid: int
    coverage_percent: float
    gaps: tuple[Stretch, ...]
    doubtful_s: tuple[float, ...] = ()

    @property
    def gap_s(self) -> int:
        """Seconds without a value."""
        return sum(gap.seconds for gap in self.gaps)

    @property
    def longest_gap_s(self) -> int:
        """Length of the longest gap; 0 without any."""
        return max((gap.seconds for gap in self.gaps), default=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """By what a compared sensor was stamped.

    ``is_capture``: by the capture clock.  Otherwise it comes from the file ``file`` with this
    ``sha256``, ``offset_s`` was added to its times, and ``alignment`` says how that was found:
    by what (``aligned_by``), how surely (``offset_s_interval``), what it made of the mean absolute
    difference, or what stood against it (``problem``).  ``is_comparable``: whether the sensor may
    be set against the reference.
    """

    number: int
    is_capture: bool
    file: str = ""
    sha256: str = ""
    offset_s: float = 0.0
    alignment: str = ""
    is_comparable: bool = True
    aligned_by: str = ""
    offset_s_interval: Interval | None = None
    mae_as_recorded_bpm: float | None = None
    mae_aligned_bpm: float | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class AnswerShare:
    """``count`` of the judged efforts had this answer; ``share`` (0–1) with its interval."""

    count: int
    share: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What a sensor made of all efforts, or of all troughs: ``unseen`` ones are not judged."""

    count: int
    followed: AnswerShare
    late: AnswerShare
    blunted: AnswerShare
    missed: AnswerShare
    unseen: int

    @property
    def judged(self) -> int:
        """How many it can be judged on."""
        return self.count - self.unseen

    def of(self, answer: Answer) -> int:
        """How many had this answer."""
        if answer is Answer.UNSEEN:
            return self.unseen
        return self.share_of(answer).count

    def share_of(self, answer: Answer) -> AnswerShare:
        """Count and share of an answer that judges (not ``UNSEEN``)."""
        shares = {
            Answer.FOLLOWED: self.followed,
            Answer.LATE: self.late,
            Answer.BLUNTED: self.blunted,
            Answer.MISSED: self.missed,
        }
        return shares[answer]


@dataclass(frozen=True, slots=True)
class Part:
    """Agreement over a part of the session: a phase or zone of the heart rate, or a section."""

    name: str
    agreement: Agreement


@dataclass(frozen=True, slots=True)
class GapError:
    """Error beside gaps and elsewhere.

    ``pairs_percent``, ``error_percent``: share of the pairs, and of the sum of the absolute
    differences, that lies beside gaps (``None`` without pairs or without any difference).
    """

    pairs_percent: float | None
    error_percent: float | None
    beside: Agreement
    elsewhere: Agreement


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorRecord:
    """One test sensor.

    ``whole``: agreement over the whole session; ``without_exclusions``: with the stretches that
    concern it taken out (``None`` if there are none), ``excluded_s`` seconds in all.  What follows
    is without them: ``delay`` in s, and on the ``rising`` and the ``falling`` heart where the two
    clearly differ; ``responses`` to :attr:`SessionRecord.efforts`, in their order, and their
    tallies; ``phases``, ``zones`` and ``sections``; ``at_readings``: agreement at the sensor's own
    readings, of one that sends less often than every 3 s; ``without_delay``: agreement with the
    delay taken out, ``None`` where it is not known or in doubt; ``pair_counts``: for pictures
    (:mod:`analysis.session.pair_counts`).
    """

    facts: SensorFacts
    excluded_s: int
    whole: Agreement
    without_exclusions: Agreement | None
    departures: Departures
    delay: Estimate
    rising: Estimate | None
    falling: Estimate | None
    responses: tuple[Response, ...]
    efforts: Tally
    troughs: Tally
    phases: tuple[Part, ...]
    zones: tuple[Part, ...]
    sections: tuple[Part, ...]
    at_readings: Agreement | None
    without_delay: Agreement | None
    gap_error: GapError
    pair_counts: tuple[int, ...] = ()

    @property
    def number(self) -> int:
        """Place in the plan."""
        return self.facts.number

    @property
    def label(self) -> str:
        """Its label."""
        return self.facts.label

    @property
    def counted(self) -> Agreement:
        """The agreement that is quoted: with the excluded stretches taken out."""
        return self.whole if self.without_exclusions is None else self.without_exclusions

    @property
    def delays_seen(self) -> tuple[float, float] | None:
        """Least and greatest delay at half rise in s, where no one delay stands for them all."""
        if self.delay.caution != UNSURE:
            return None
        delays = [one.delay_s for one in self.responses if one.delay_s is not None]
        return (min(delays), max(delays)) if len(delays) >= FEWEST_DELAYS else None

    def tally(self, kind: Kind) -> Tally:
        """Of the efforts, or of the troughs."""
        return self.efforts if kind is Kind.EFFORT else self.troughs


@dataclass(frozen=True, slots=True)
class StandingFault:
    """A fault of ``kind`` (relay, same sensor twice, frozen) over the grid seconds ``start_s`` to
    ``end_s``, that bars the sensor from comparisons.  ``cause``: the sentence of its warning.
    """

    sensor: int
    kind: WarningKind
    start_s: int
    end_s: int
    cause: str

    @property
    def seconds(self) -> int:
        """Length."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class SensorErrorVariance:
    """A sensor's own error, the reference's included.  ``sensor``: its number in the plan."""

    sensor: int
    error: ErrorVariance


@dataclass(frozen=True, slots=True)
class NotedMarker:
    """A marker of the tester, set while recording or afterwards; capture time."""

    t_ns: int
    text: str

    @property
    def at_s(self) -> float:
        """Capture time in s, to the millisecond."""
        return round(self.t_ns / NS_PER_S, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRecord:
    """All numbers of one session.

    ``plan``: with the labels that count now, without broker and attention.  ``seconds``: length of
    the grid.  ``reference_usable_percent``: share of the session in which the reference had a value
    and was not left out.  ``exclusions``: all that count, the tester's and the suggested ones.
    ``efforts``: with their troughs, in order of time.  ``standing``: faults that bar a sensor from
    what follows.  ``error_variances``: empty with fewer than three sensors that have seconds in
    common; ``smoothing``: numbers of the sensors that take no part because they smooth.
    ``closer``: each two test sensors compared, with intervals that hold together.
    ``failed_rules``: rules of the board that failed and were switched off from then on.
    ``cautions``: sentences about the session, ``detail_cautions`` about how it was taken apart.
    """

    format: int = FORMAT
    provenance: Provenance
    plan: Plan
    duration_ns: int
    seconds: int
    reference: SensorFacts
    reference_usable_percent: float
    sensors: tuple[SensorRecord, ...]
    clocks: tuple[Clock, ...]
    exclusions: tuple[Stretch, ...]
    efforts: tuple[Effort, ...]
    standing: tuple[StandingFault, ...]
    error_variances: tuple[SensorErrorVariance, ...]
    smoothing: tuple[int, ...]
    closer: tuple[Closer, ...]
    warnings: tuple[SensorWarning, ...]
    failed_rules: tuple[RuleFailure, ...]
    markers: tuple[NotedMarker, ...]
    cautions: tuple[str, ...]
    detail_cautions: tuple[str, ...]

    @property
    def duration_s(self) -> float:
        """From the start to the ending, or to the last event if it was not closed."""
        return self.duration_ns / NS_PER_S

    @property
    def tolerance(self) -> Tolerance:
        """The allowed difference."""
        return Tolerance(self.plan.tolerance_bpm, self.plan.tolerance_percent)

    @property
    def comparable(self) -> tuple[SensorRecord, ...]:
        """The test sensors whose clocks can be set against the reference's."""
        away = {clock.number for clock in self.clocks if not clock.is_comparable}
        return tuple(one for one in self.sensors if one.number not in away)

    def label(self, number: int) -> str | None:
        """Label of a sensor; ``None`` for 0, the session."""
        return self.plan.sensor(number).label if number else None

    @property
    def barred(self) -> frozenset[int]:
        """Numbers of the sensors with a standing fault."""
        return frozenset(fault.sensor for fault in self.standing)

    def sensor(self, label: str) -> SensorRecord:
        """The test sensor with this label.  Raises ``KeyError``."""
        for one in self.sensors:
            if one.label == label:
                return one
        raise KeyError(f"{label!r} is no test sensor of this session")


def named_efforts(efforts: Iterable[Effort]) -> list[tuple[str, Effort]]:
    """Each effort and trough with its short name, E1 …, T1 …, in order of time."""
    numbers = dict.fromkeys(Kind, 0)
    named = []
    for effort in efforts:
        numbers[effort.kind] += 1
        named.append((f"{effort.kind.value[0].upper()}{numbers[effort.kind]}", effort))
    return named
