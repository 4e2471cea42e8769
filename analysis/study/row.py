"""What a study keeps of a session: a small row, so that thousands fit into memory."""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from typing import Final

from analysis.board.snapshot import WarningKind
from analysis.session.clock_doubt import BY_ARRIVAL
from analysis.session.record import SensorRecord, SessionRecord
from analysis.statistics.replicates import Group
from analysis.study.thresholds import LOST_PERCENT, LOST_S
from replay.signs import signs_of

_NOT_ITS_OWN: Final = (WarningKind.RELAY, WarningKind.SAME_SENSOR)


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorRow:
    """One test sensor in one session; agreement without the excluded stretches.

    ``imported``: from a file with a clock of its own.  ``barred``: why it cannot be compared (not
    aligned; a relay or a twin, whose values are another's), or empty.  ``late_start_s``: seconds
    before its first value.
    Values are in bpm, percent or s; ``None`` where the session gives none.  ``independent_pairs``:
    how many its bias rests on, and ``sd_degrees`` the degrees of freedom of ``sd_bpm``.
    ``delay_s`` only where it is sure.  ``slope``: of the difference on the mean, bpm per bpm.
    ``judged``: efforts that it can be judged on.  ``sign``: that it was shown by in its session
    (:mod:`replay.signs`), and whether the plan holds it; ``pair_counts``: for pictures
    (:mod:`analysis.session.pair_counts`), int32 as bytes, a tenth of what the numbers would take.
    """

    label: str
    placement: str
    firmware: str
    model: str
    imported: bool
    barred: str
    coverage_percent: float
    late_start_s: int
    pairs: int
    independent_pairs: float | None
    sd_degrees: float | None
    bias_bpm: float | None
    sd_bpm: float | None
    mae_bpm: float | None
    mape_percent: float | None
    within_percent: float | None
    within_5_bpm_percent: float | None
    pearson_r: float | None
    concordance: float | None
    slope: float | None
    delay_s: float | None
    judged: int
    followed: int
    late: int
    blunted: int
    missed: int
    losses: int
    lost_s: int
    lost_percent: float | None
    sign: int = 1
    sign_is_held: bool = False
    pair_counts: bytes = b""

    @property
    def lost_the_heart(self) -> bool:
        """Whether this session is a failure of the sensor."""
        return self.lost_s >= LOST_S and (self.lost_percent or 0.0) >= LOST_PERCENT

    @property
    def followed_percent(self) -> float | None:
        """Share of the efforts followed."""
        return 100 * self.followed / self.judged if self.judged else None

    @property
    def group(self) -> Group:
        """Its differences for the limits of agreement, with what they are worth.

        Where the session could not tell how many independent pairs it holds, it counts as one.
        """
        return Group(
            mean=self.bias_bpm or 0.0,
            variance=(self.sd_bpm or 0.0) ** 2,
            count=max(self.independent_pairs or 1.0, 1.0),
            degrees=max(self.sd_degrees or 1.0, 1.0),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """One session.  ``path``: of its capture, as it was given; ``uuid``: of the recording.

    ``notes``: made afterwards.  ``range_bpm``: from the 5th to the 95th percentile of the
    reference.
    """

    path: str
    uuid: str
    started_utc_ns: int
    wearer: str
    activity: str
    invented: bool
    clean: bool
    notes: int
    duration_s: float
    tolerance_bpm: float
    tolerance_percent: float
    reference: str
    reference_imported: bool
    reference_usable_percent: float
    range_bpm: int
    sensors: tuple[SensorRow, ...]


def row_of(record: SessionRecord, path: str) -> SessionRow:
    """The row of a record; ``path``: where its capture lies."""
    signs = signs_of(record.plan.sensors)
    away = {clock.number: clock for clock in record.clocks}
    return SessionRow(
        path=path,
        uuid=record.provenance.uuid,
        started_utc_ns=record.provenance.started_utc_ns,
        wearer=record.plan.wearer,
        activity=record.plan.activity,
        invented=record.plan.invented,
        clean=record.provenance.clean,
        notes=record.provenance.notes,
        duration_s=record.duration_s,
        tolerance_bpm=record.plan.tolerance_bpm,
        tolerance_percent=record.plan.tolerance_percent,
        reference=record.reference.label,
        reference_imported=not away[record.reference.number].is_capture,
        reference_usable_percent=record.reference_usable_percent,
        range_bpm=max((one.counted.reference_range_bpm for one in record.sensors), default=0),
        sensors=tuple(_sensor_row(record, one, signs[one.number - 1]) for one in record.sensors),
    )


def _sensor_row(record: SessionRecord, one: SensorRecord, sign: int) -> SensorRow:
    found, facts = one.counted, one.facts
    clock = next(clock for clock in record.clocks if clock.number == one.number)
    sure = one.delay.caution in ("", BY_ARRIVAL) and clock.is_capture
    count = found.sd.effective_count
    return SensorRow(
        label=facts.label,
        placement=facts.placement,
        firmware=facts.firmware,
        model=facts.model,
        imported=not clock.is_capture,
        barred=_barred(record, one.number, comparable=clock.is_comparable),
        coverage_percent=facts.coverage_percent,
        late_start_s=next((gap.end_s for gap in facts.gaps if gap.start_s <= 0), 0),
        pairs=found.pairs,
        independent_pairs=found.bias.effective_count,
        sd_degrees=None if count is None else count - 1,
        bias_bpm=found.bias.value,
        sd_bpm=found.sd.value,
        mae_bpm=found.mae.value,
        mape_percent=found.mape.value,
        within_percent=found.within.value,
        within_5_bpm_percent=found.within_5.value,
        pearson_r=found.pearson_r.value,
        concordance=found.concordance.value,
        slope=found.proportional.slope.value,
        delay_s=one.delay.value if sure else None,
        judged=one.efforts.judged,
        followed=one.efforts.followed.count,
        late=one.efforts.late.count,
        blunted=one.efforts.blunted.count,
        missed=one.efforts.missed.count,
        losses=len(one.departures.losses),
        lost_s=one.departures.lost_s,
        lost_percent=one.departures.lost_percent,
        sign=sign,
        sign_is_held=record.plan.sensor(one.number).sign == sign,
        pair_counts=array("i", one.pair_counts).tobytes(),
    )


def _barred(record: SessionRecord, number: int, *, comparable: bool) -> str:
    if not comparable:
        return "its clock could not be aligned with the reference's"
    # What froze has failed by itself, and leaving it out would flatter it.
    repeated = (f for f in record.standing if f.sensor == number and f.kind in _NOT_ITS_OWN)
    return next((str(fault.kind.value) for fault in repeated), "")
