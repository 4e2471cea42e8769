"""From the arrays of a session to its record: every number, once.

What is left out is decided before (:mod:`analysis.session.exclusions`), by the one rule that the
window has as well.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.board.snapshot import RuleFailure, SensorWarning, WarningKind
from analysis.session.clock_doubt import (
    aligned_by,
    clock_doubt_s,
    with_clock_doubt,
    with_senders_clock,
)
from analysis.session.gap_error import gap_error
from analysis.session.load import SensorSeries, SessionData
from analysis.session.pair_counts import pair_counts
from analysis.session.record import (
    NO_EFFORTS,
    NOT_ONE_CLOCK,
    AnswerShare,
    Clock,
    NotedMarker,
    Part,
    Provenance,
    SensorErrorVariance,
    SensorFacts,
    SensorRecord,
    SessionRecord,
    StandingFault,
    Tally,
)
from analysis.session.standing import standing_faults
from analysis.statistics.agreement import Tolerance
from analysis.statistics.closer import compare_all
from analysis.statistics.delay import UNSURE, delay_of, mean_age_s
from analysis.statistics.departures import departures_of
from analysis.statistics.effective import BoolArray
from analysis.statistics.effort_finder import EffortFinder
from analysis.statistics.effort_shares import share_of
from analysis.statistics.efforts import (
    Answer,
    Effort,
    Kind,
    Response,
    find_efforts,
    responses,
)
from analysis.statistics.error_variance import (
    CORRELATED,
    error_variances,
    in_step,
    still_follows_slope,
)
from analysis.statistics.estimate import Estimate
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.phases import (
    agreement_by,
    agreement_without_delay,
    phase_masks,
    zone_masks,
)
from analysis.statistics.stretch import Stretch, concerning, kept_seconds
from analysis.statistics.summary import Agreement, agreement_of
from replay.attention import AttentionPlan
from replay.event import NS_PER_S
from replay.plan import DEFAULT_HOLD_S, Plan

LOW_REFERENCE_COVERAGE_PERCENT: Final = 80.0
"""Below this the reference was missing for a fifth of the session, hardly by chance: what was
compared may be the easy part of it."""

SMOOTHING: Final = (
    "No error variance is given of a sensor that smooths, whose difference goes with the slope of "
    "the heart rate even after its delay is taken out"
)

Grid = npt.NDArray[np.int32]


def compute_record(
    data: SessionData,
    warnings: Iterable[SensorWarning] = (),
    exclusions: Sequence[Stretch] = (),
    provenance: Provenance | None = None,
    *,
    failed_rules: Iterable[RuleFailure] = (),
    one_clock: bool = True,
    finder: EffortFinder | None = None,
) -> SessionRecord:
    """Compute all numbers of a session.

    ``exclusions``: stretches to take out beside those that the tester noted in the capture; one
    about the reference or about the whole session counts for every test sensor, one about a
    test sensor for that sensor alone.  Nothing is deleted: both results are given.  Efforts are
    found on the reference with its excluded stretches as gaps.

    No delay is claimed of a sensor whose clock is not known against the reference's but by its
    heart rate (:mod:`analysis.session.clock_doubt`), and of none with ``one_clock=False``; its
    efforts are not late then.

    ``finder``: of the finished board, which has mostly found the same efforts already.
    """
    plan, reference = data.plan, data.reference
    stretches = tuple(sorted({*data.exclusions, *exclusions}))
    kept = {
        number: kept_seconds(data.seconds, concerning(stretches, reference.number, number))
        for number in data.sensors
    }
    ref = np.where(kept[reference.number], reference.grid, NO_VALUE).astype(np.int32)
    efforts = find_efforts(ref, data.efforts, finder)
    heart = _Heart(ref, efforts, phase_masks(ref), zone_masks(ref), section_masks(data))
    warnings = tuple(warnings)
    standing = standing_faults(warnings, data.seconds)
    tests = tuple(
        _sensor(
            data,
            test,
            heart,
            kept[test.number],
            _faults_of(test.number, standing),
            one_clock=one_clock,
        )
        for test in data.tests
    )
    barred = _barred(data, standing)
    fair = {test.number: test.grid for test in data.tests if test.number not in barred}
    errors, smoothing = _error_variances(data, stretches, tests, barred)
    return SessionRecord(
        provenance=provenance or Provenance(),
        plan=replace(plan, broker=None, attention=AttentionPlan()),
        duration_ns=data.duration_ns,
        seconds=data.seconds,
        reference=_facts(reference),
        reference_usable_percent=100 * int(np.count_nonzero(ref != NO_VALUE)) / data.seconds,
        sensors=tests,
        clocks=tuple(_clock(data, series) for series in data.sensors.values()),
        exclusions=stretches,
        efforts=efforts,
        standing=standing,
        error_variances=errors,
        smoothing=smoothing,
        closer=compare_all(reference.grid, fair, kept),
        warnings=warnings,
        failed_rules=tuple(failed_rules),
        markers=tuple(NotedMarker(t_ns, text) for t_ns, text in data.markers),
        cautions=_cautions(data),
        detail_cautions=_detail_cautions(plan, efforts, errors, smoothing),
    )


def _faults_of(number: int, standing: Iterable[StandingFault]) -> list[StandingFault]:
    return [fault for fault in standing if fault.sensor == number]


def _barred(data: SessionData, standing: Iterable[StandingFault]) -> set[int]:
    """Sensors that are compared with no other: a fault stands over them, or they have no clock."""
    plan = data.plan
    barred = {fault.sensor for fault in standing}
    return barred | {test.number for test in data.tests if not plan.is_comparable(test.number)}


@dataclass(frozen=True, slots=True, eq=False)
class _Heart:
    """What the reference did: its grid without what is left out of it, and what lies in it."""

    grid: Grid
    efforts: tuple[Effort, ...]
    phases: Mapping[str, BoolArray]
    zones: Mapping[str, BoolArray]
    sections: Mapping[str, BoolArray]


def _sensor(
    data: SessionData,
    test: SensorSeries,
    heart: _Heart,
    kept: BoolArray,
    standing: Sequence[StandingFault],
    *,
    one_clock: bool,
) -> SensorRecord:
    """``kept`` bool[n]: the seconds that count for this sensor; ``standing``: its faults."""
    reference, ref = data.reference, heart.grid
    tolerance = Tolerance(data.plan.tolerance_bpm, data.plan.tolerance_percent)
    excluded_s = data.seconds - int(kept.sum())
    if not data.plan.is_comparable(test.number):  # it has values, and nothing to hold them against
        test = replace(
            test, t_ns=test.t_ns[:0], mbpm=test.mbpm[:0], grid=np.full_like(test.grid, NO_VALUE)
        )
    grid = np.where(kept, test.grid, NO_VALUE).astype(np.int32)
    age = mean_age_s(test.t_ns, test.grid) - mean_age_s(reference.t_ns, reference.grid)
    answers = responses(heart.efforts, ref, grid)
    doubt_s = clock_doubt_s(data, test) if one_clock else None
    if doubt_s is not None:
        delay, curve = delay_of(ref, grid, earlier_age_s=age)
        by = aligned_by(data, test) or aligned_by(data, reference)
        delay = with_clock_doubt(delay, doubt_s, by)
        delay = with_senders_clock(delay, test.sensor, reference.sensor)
    else:
        delay, curve = Estimate.undefined(NOT_ONE_CLOCK), None
        answers = tuple(_without_delay(answer) for answer in answers)
    answers = _not_blunted(heart.efforts, answers, standing)
    phases, zones, sections = (
        agreement_by(masks, ref, grid, tolerance, kept)
        for masks in (heart.phases, heart.zones, heart.sections)
    )
    return SensorRecord(
        facts=_facts(data.sensors[test.number]),
        excluded_s=excluded_s,
        whole=agreement_of(reference.grid, test.grid, tolerance),
        without_exclusions=(
            agreement_of(reference.grid, test.grid, tolerance, kept=kept) if excluded_s else None
        ),
        departures=departures_of(ref, grid, tolerance),
        delay=delay,
        rising=None if curve is None else curve.rising,
        falling=None if curve is None else curve.falling,
        responses=answers,
        efforts=_tally(heart.efforts, answers, Kind.EFFORT),
        troughs=_tally(heart.efforts, answers, Kind.TROUGH),
        phases=tuple(Part(name, found) for name, found in phases.items()),
        zones=tuple(Part(name, found) for name, found in zones.items()),
        sections=tuple(Part(name, found) for name, found in sections.items()),
        at_readings=_at_readings(reference, test, tolerance, kept),
        without_delay=(
            None
            if delay.value is None or delay.caution == UNSURE
            else agreement_without_delay(ref, grid, tolerance, kept, delay.value + age)
        ),
        gap_error=gap_error(reference, test, tolerance, kept),
        pair_counts=pair_counts(reference.grid, test.grid, kept),
    )


def _facts(series: SensorSeries) -> SensorFacts:
    return SensorFacts(
        number=series.number,
        label=series.sensor.label,
        placement=series.sensor.placement,
        firmware=series.firmware,
        model=series.model,
        notifications=series.notifications,
        malformed=series.malformed,
        invalid=series.invalid,
        coverage_percent=series.coverage_percent,
        gaps=series.gaps,
        doubtful_s=tuple(round(t_ns / NS_PER_S, 3) for t_ns in series.doubtful_ns.tolist()),
    )


def _at_readings(
    reference: SensorSeries, test: SensorSeries, tolerance: Tolerance, kept: BoolArray
) -> Agreement | None:
    """Agreement at the moments of the sensor's own readings; ``None`` if it sends often enough
    that its held values are its readings, or has none that may be compared.
    """
    if test.sensor.hold_s <= DEFAULT_HOLD_S or len(test.t_ns) == 0:
        return None
    newest = np.searchsorted(reference.t_ns, test.t_ns, side="right") - 1
    held = newest >= 0
    held[held] = (
        test.t_ns[held] - reference.t_ns[newest[held]] <= reference.sensor.hold_ns
    )  # fmt: skip
    values = np.full(len(test.t_ns), NO_VALUE, dtype=np.int32)
    values[held] = reference.mbpm[newest[held]]
    second = np.minimum(test.t_ns // NS_PER_S, len(kept) - 1)
    return agreement_of(values, test.mbpm, tolerance, kept=kept[second])


def section_masks(data: SessionData) -> dict[str, BoolArray]:
    """Which grid seconds belong to each section of the activity, bool[n] by name.

    Without sections: from marker to marker, where there are two or more.  Sections of one name
    are one part.
    """
    sections = data.sections
    if not sections and len(data.markers) > 1:
        ends = [t_ns for t_ns, _ in data.markers[1:]] + [data.duration_ns]
        sections = tuple(
            Stretch.of_ns(t_ns, end, text or "marker")
            for (t_ns, text), end in zip(data.markers, ends, strict=True)
            if t_ns < end
        )
    second = np.arange(data.seconds)
    masks: dict[str, BoolArray] = {}
    for one in sections:
        inside = (second >= one.start_s) & (second < one.end_s)
        masks[one.reason] = masks.get(one.reason, np.zeros(data.seconds, dtype=bool)) | inside
    return masks


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None


def _clock(data: SessionData, series: SensorSeries) -> Clock:
    sensor = series.sensor
    kept = data.imports.get(series.number, {})
    interval = kept.get("offset_s_interval")
    ends = [_number(end) for end in interval] if isinstance(interval, list) else []
    low, high = ends if len(ends) == 2 else (None, None)
    return Clock(
        number=series.number,
        is_capture=sensor.on_capture_clock,
        file=sensor.file,
        sha256=sensor.sha256,
        offset_s=sensor.offset_s,
        alignment=sensor.alignment,
        is_comparable=data.plan.is_comparable(series.number),
        aligned_by=aligned_by(data, series),
        offset_s_interval=None if low is None or high is None else (low, high),
        mae_as_recorded_bpm=_number(kept.get("mae_as_recorded_bpm")),
        mae_aligned_bpm=_number(kept.get("mae_aligned_bpm")),
        problem=str(kept.get("problem") or ""),
    )


def _tally(efforts: Sequence[Effort], answered: Sequence[Response], kind: Kind) -> Tally:
    answers = [
        response.answer
        for effort, response in zip(efforts, answered, strict=True)
        if effort.kind is kind
    ]
    followed, late, blunted, missed = (
        AnswerShare(answers.count(wanted), share_of(answers, wanted))
        for wanted in (Answer.FOLLOWED, Answer.LATE, Answer.BLUNTED, Answer.MISSED)
    )
    return Tally(
        count=len(answers),
        followed=followed,
        late=late,
        blunted=blunted,
        missed=missed,
        unseen=answers.count(Answer.UNSEEN),
    )


def _without_delay(response: Response) -> Response:
    """The response of a sensor whose clock was aligned by its own changes."""
    answer = Answer.FOLLOWED if response.answer is Answer.LATE else response.answer
    return replace(response, answer=answer, delay_s=None)


def _not_blunted(
    efforts: Sequence[Effort], answers: Sequence[Response], standing: Sequence[StandingFault]
) -> tuple[Response, ...]:
    """A rise that a sensor repeated, or cut off while it stood still, is not one it blunted."""

    def touched(effort: Effort) -> bool:
        return any(
            fault.kind is not WarningKind.FROZEN
            or (fault.start_s <= effort.return_s and effort.start_s < fault.end_s)
            for fault in standing
        )

    return tuple(
        Response(Answer.UNSEEN) if answer.answer is Answer.BLUNTED and touched(effort) else answer
        for effort, answer in zip(efforts, answers, strict=True)
    )


def _error_variances(
    data: SessionData,
    stretches: Sequence[Stretch],
    tests: Sequence[SensorRecord],
    barred: Collection[int],
) -> tuple[tuple[SensorErrorVariance, ...], tuple[int, ...]]:
    """Error variances of the sensors that take part, and the numbers of those that smooth."""
    delays = _grid_delays(data, [test for test in tests if test.number not in barred])
    if len(delays) < 3:
        return (), ()
    numbers = list(delays)
    kept = {n: kept_seconds(data.seconds, concerning(stretches, n)) for n in numbers}
    moved, present = in_step(
        [data.sensors[number].grid / 1000 for number in numbers],
        [(data.sensors[number].grid != NO_VALUE) & kept[number] for number in numbers],
        [delays[number] for number in numbers],
    )
    if np.count_nonzero(present) < 2:
        return (), ()
    smoothing = tuple(
        number
        for number, values in zip(numbers[1:], moved[1:], strict=True)
        if still_follows_slope(moved[0], values, present)
    )
    part = [place for place, number in enumerate(numbers) if number not in smoothing]
    if len(part) < 3:
        return (), smoothing
    found = error_variances([moved[place] for place in part], present)
    return tuple(map(SensorErrorVariance, (numbers[p] for p in part), found)), smoothing


def _grid_delays(data: SessionData, tests: Iterable[SensorRecord]) -> dict[int, float]:
    """Seconds by which each sensor's grid comes after the reference's, by number; the reference's
    own 0 is the first.  That is its delay, and how much older the values on the grid are.
    """
    reference = data.reference
    delays = {reference.number: 0.0}
    for test in tests:
        series = data.sensors[test.number]
        age = mean_age_s(series.t_ns, series.grid) - mean_age_s(reference.t_ns, reference.grid)
        delays[test.number] = 0.0 if test.delay.value is None else test.delay.value + age
    return delays


def _detail_cautions(
    plan: Plan,
    efforts: Sequence[Effort],
    errors: Sequence[SensorErrorVariance],
    smoothing: Sequence[int],
) -> tuple[str, ...]:
    cautions = [] if efforts else [NO_EFFORTS]
    if errors:
        cautions.append(CORRELATED)
    if smoothing:
        names = ", ".join(plan.sensor(number).label for number in smoothing)
        cautions.append(f"{SMOOTHING}: {names}.")
    return tuple(cautions)


def _cautions(data: SessionData) -> tuple[str, ...]:
    reference = data.reference
    cautions = []
    if reference.coverage_percent < LOW_REFERENCE_COVERAGE_PERCENT:
        cautions.append(
            f"The reference had a value in {reference.coverage_percent:.0f} % of the session only: "
            "the rest of it was not compared."
        )
    wide = [s.sensor.label for s in data.sensors.values() if s.sensor.hold_s > DEFAULT_HOLD_S]
    if wide:
        cautions.append(
            f"Values of {', '.join(wide)} were held for longer than 3 s, as planned: they send "
            "less often, and lag by up to that."
        )
    return tuple(cautions)
