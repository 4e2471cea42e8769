"""The session in detail: delays, efforts, phases, zones, and each sensor's own error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from analysis.session.load import SensorSeries, SessionData
from analysis.statistics.agreement import Tolerance
from analysis.statistics.delay import UNSURE, DelayCurve, delay_of, mean_age_s
from analysis.statistics.efforts import (
    Answer,
    Effort,
    Kind,
    Response,
    find_efforts,
    responses,
    share_of,
)
from analysis.statistics.error_variance import CORRELATED, ErrorVariance, error_variances
from analysis.statistics.estimate import Estimate
from analysis.statistics.pairing import NO_VALUE
from analysis.statistics.phases import (
    agreement_by,
    agreement_without_delay,
    phase_masks,
    zone_masks,
)
from analysis.statistics.stretch import Stretch, concerning, kept_seconds
from analysis.statistics.summary import Agreement

NOT_ONE_CLOCK = "The sensors were not stamped on one clock: offset and delay cannot be told apart."
NO_EFFORTS = "No efforts were found: the heart rate shows no rise of 15 bpm that returned."

FEWEST_DELAYS: Final = 3
"""Changes with a delay at half rise from which their range is worth naming."""


@dataclass(frozen=True, slots=True, eq=False)
class SensorDetail:
    """One test sensor.

    ``responses``: to :attr:`SessionDetail.efforts`, in their order.  ``without_delay``:
    agreement with the delay taken out, ``None`` where the delay is not known or in doubt.
    """

    series: SensorSeries
    delay: Estimate
    curve: DelayCurve | None
    responses: tuple[Response, ...]
    phases: Mapping[str, Agreement]
    zones: Mapping[str, Agreement]
    without_delay: Agreement | None

    @property
    def delays_seen(self) -> tuple[float, float] | None:
        """Least and greatest delay at half rise in s, where no one delay stands for them all."""
        if self.delay.caution != UNSURE:
            return None
        delays = [one.delay_s for one in self.responses if one.delay_s is not None]
        return (min(delays), max(delays)) if len(delays) >= FEWEST_DELAYS else None

    def answers(self, efforts: Sequence[Effort], kind: Kind) -> list[Answer]:
        """Answers to the efforts (or troughs) alone."""
        return [
            response.answer
            for effort, response in zip(efforts, self.responses, strict=True)
            if effort.kind is kind
        ]


@dataclass(frozen=True, slots=True, eq=False)
class SessionDetail:
    """What is to be said of a session beside its overall agreement.

    ``error_variances``: by sensor number, empty with fewer than three sensors that have seconds
    in common.  ``cautions``: plain sentences.
    """

    efforts: tuple[Effort, ...]
    sensors: tuple[SensorDetail, ...]
    error_variances: Mapping[int, ErrorVariance]
    cautions: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain values by name: words with units."""
        return {
            "efforts": [_effort_json(effort) for effort in self.efforts],
            "sensors": [_sensor_json(detail, self.efforts) for detail in self.sensors],
            "error_variances": [
                {
                    "sensor": number,
                    "error_variance_bpm2": error.variance,
                    "error_variance_bpm2_interval": error.interval and list(error.interval),
                    "error_sd_bpm": error.sd_bpm,
                    "effective_count": error.effective_count,
                    "caution": error.caution,
                }
                for number, error in self.error_variances.items()
            ],
            "cautions": list(self.cautions),
        }


def detail_session(
    data: SessionData, exclusions: Sequence[Stretch] = (), *, one_clock: bool = True
) -> SessionDetail:
    """Delays, efforts, phases, zones and error variances of a session.

    ``exclusions``: beside those noted in the capture, as for ``analysis.session.sensors``.
    Efforts are found on the reference with its excluded stretches as gaps.  No delay is claimed of
    a sensor that was not stamped on the clock of the reference: of one from a file, of any where
    the reference is from a file, and of all with ``one_clock=False``; its efforts are not late
    then.
    """
    plan, reference = data.plan, data.reference
    tolerance = Tolerance(plan.tolerance_bpm, plan.tolerance_percent)
    stretches = [*data.exclusions, *exclusions]
    usable = kept_seconds(data.seconds, concerning(stretches, reference.number))
    ref = np.where(usable, reference.grid, NO_VALUE).astype(np.int32)
    efforts = find_efforts(ref, data.efforts)
    phases, zones = phase_masks(ref), zone_masks(ref)
    ref_age = mean_age_s(reference.t_ns, reference.grid)
    details = []
    for series in data.tests:
        kept = kept_seconds(data.seconds, concerning(stretches, reference.number, series.number))
        test = np.where(kept, series.grid, NO_VALUE).astype(np.int32)
        age = mean_age_s(series.t_ns, series.grid) - ref_age
        delay, curve = delay_of(ref, test, earlier_age_s=age)
        answers = responses(efforts, ref, test)
        if not (one_clock and series.sensor.on_capture_clock and reference.sensor.on_capture_clock):
            delay = Estimate.undefined(NOT_ONE_CLOCK)
            answers = tuple(_without_delay(answer) for answer in answers)
        details.append(
            SensorDetail(
                series=series,
                delay=delay,
                curve=curve,
                responses=answers,
                phases=agreement_by(phases, ref, test, tolerance, kept),
                zones=agreement_by(zones, ref, test, tolerance, kept),
                without_delay=None
                if delay.value is None or delay.caution == UNSURE
                else agreement_without_delay(ref, test, tolerance, kept, delay.value + age),
            )
        )
    errors = _errors(data, stretches)
    cautions = [] if efforts else [NO_EFFORTS]
    if errors:
        cautions.append(CORRELATED)
    return SessionDetail(efforts, tuple(details), errors, tuple(cautions))


def _without_delay(response: Response) -> Response:
    """The response of a sensor whose clock was aligned by its own changes."""
    answer = Answer.FOLLOWED if response.answer is Answer.LATE else response.answer
    return replace(response, answer=answer, delay_s=None)


def _errors(data: SessionData, stretches: Sequence[Stretch]) -> dict[int, ErrorVariance]:
    numbers = list(data.sensors)
    if len(numbers) < 3:
        return {}
    grids = [data.sensors[number].grid for number in numbers]
    present = np.all([grid != NO_VALUE for grid in grids], axis=0)
    present &= kept_seconds(data.seconds, concerning(stretches, *numbers))
    if np.count_nonzero(present) < 2:
        return {}
    found = error_variances([grid / 1000 for grid in grids], present)
    return dict(zip(numbers, found, strict=True))


def _effort_json(effort: Effort) -> dict[str, Any]:
    return {
        "kind": effort.kind.value,
        "start_s": effort.start_s,
        "peak_s": effort.peak_s,
        "return_s": effort.return_s,
        "base_bpm": effort.base_bpm,
        "peak_bpm": effort.peak_bpm,
        "rise_bpm": effort.rise_bpm,
        "marked": effort.marked,
    }


def _sensor_json(detail: SensorDetail, efforts: Sequence[Effort]) -> dict[str, Any]:
    result: dict[str, Any] = {
        "sensor": detail.series.number,
        "label": detail.series.sensor.label,
        "delay_s": detail.delay.value,
        "delay_s_interval": detail.delay.interval and list(detail.delay.interval),
        "delay_caution": detail.delay.caution,
        "delays_seen_s": detail.delays_seen and list(detail.delays_seen),
        "responses": [
            {
                "answer": response.answer.value,
                "delay_s": response.delay_s,
                "shortfall_bpm": response.shortfall_bpm,
                "share_recovered": response.share,
            }
            for response in detail.responses
        ],
        "phases": {name: part.to_json() for name, part in detail.phases.items()},
        "zones": {name: part.to_json() for name, part in detail.zones.items()},
        "without_delay": detail.without_delay and detail.without_delay.to_json(),
    }
    for kind in Kind:
        answers = detail.answers(efforts, kind)
        result[f"{kind.value}s"] = {"count": len(answers)} | {
            answer.value: sum(found is answer for found in answers) for answer in Answer
        }
        followed = share_of(answers, Answer.FOLLOWED)
        result[f"{kind.value}s"]["followed_share"] = followed.value
        result[f"{kind.value}s"]["followed_share_interval"] = followed.interval and list(
            followed.interval
        )
    return result
