"""The page's tables, made of the record.

Each number carries the path of the same number in the JSON, so that the two can be compared.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from analysis.report.cells import Cell, Form, estimate_cell, number_cell
from analysis.report.sensor_signs import signs_in
from analysis.report.words import WIDE_R, clock, interval, listed, number, share_interval
from analysis.session.record import SensorRecord, SessionRecord, named_efforts
from analysis.statistics.agreement import NARROW_RANGE_BPM
from analysis.statistics.efforts import Answer, Kind, Response
from analysis.statistics.estimate import Estimate
from analysis.statistics.summary import Agreement
from replay.event import SESSION

SHARE: Final = Form(1, share=True)
"""How a share of pairs or seconds is written."""


@dataclass(frozen=True, slots=True)
class Row:
    """``head``: what the row is about; ``group``: begins a part of the table, or empty."""

    head: str
    cells: tuple[Cell, ...]
    group: str = ""
    sign: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """``key``: for ids in the page.  ``columns``: heads, the first over the rows' heads."""

    key: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


_STATISTICS: Final[tuple[tuple[str, str, Form, Callable[[Agreement], Estimate]], ...]] = (
    ("bias, bpm", "bias_bpm", Form(2, sign=True), lambda a: a.bias),
    ("SD of the differences, bpm", "sd_bpm", Form(2), lambda a: a.sd),
    ("lower limit of agreement, bpm", "loa_low_bpm", Form(1, sign=True), lambda a: a.loa_low),
    ("upper limit of agreement, bpm", "loa_high_bpm", Form(1, sign=True), lambda a: a.loa_high),
    ("mean absolute error (MAE), bpm", "mae_bpm", Form(2), lambda a: a.mae),
    ("MAPE, %", "mape_percent", Form(2), lambda a: a.mape),
    ("RMSE, bpm", "rmse_bpm", Form(2), lambda a: a.rmse),
    ("inside tolerance, %", "within_tolerance_percent", SHARE, lambda a: a.within),
    ("within ±5 bpm, %", "within_5_bpm_percent", SHARE, lambda a: a.within_5),
    ("Pearson r", "pearson_r", Form(3, wide=WIDE_R), lambda a: a.pearson_r),
    ("concordance (CCC)", "concordance", Form(3, wide=WIDE_R), lambda a: a.concordance),
    ("slope of difference on mean, bpm per bpm", "slope_bpm_per_bpm",
     Form(3, sign=True, wide=WIDE_R), lambda a: a.proportional.slope),
)  # fmt: skip

_COUNTS: Final[tuple[tuple[str, str, Form, Callable[[Agreement], float | None]], ...]] = (
    ("pairs", "pairs", Form(0), lambda a: a.pairs),
    ("worth, for the bias: independent pairs", "effective_count", Form(0),
     lambda a: a.bias.effective_count),
    ("worth, for the SD", "effective_count_sd", Form(0), lambda a: a.sd.effective_count),
    ("worth, for r", "effective_count_r", Form(0), lambda a: a.pearson_r.effective_count),
    ("reference: mean over the pairs, bpm", "reference_mean_bpm", Form(1),
     lambda a: a.reference_mean_bpm),
    ("reference: SD, bpm", "reference_sd_bpm", Form(1), lambda a: a.reference_sd_bpm),
    ("reference: range (5th to 95th percentile), bpm", "reference_range_bpm", Form(0),
     lambda a: a.reference_range_bpm),
    ("sensor: mean over the pairs, bpm", "test_mean_bpm", Form(1), lambda a: a.test_mean_bpm),
    ("sensor: SD, bpm", "test_sd_bpm", Form(1), lambda a: a.test_sd_bpm),
)  # fmt: skip


def text(words: str) -> Cell:
    """A cell of words."""
    return Cell(words)


def sign_of(record: SessionRecord, label: str | None) -> str:
    """The shape of a sensor in the figures; none for the reference."""
    signs = signs_in(record.plan)
    return next((signs[one.number].text for one in record.sensors if one.label == label), "")


def counted_name(one: SensorRecord) -> str:
    """The name in the JSON of what is quoted of a sensor."""
    return "whole_session" if one.without_exclusions is None else "without_exclusions"


def summary(record: SessionRecord) -> Table:
    """One row per test sensor, without what is left out."""
    rows, signs = [], signs_in(record.plan)
    for index, sensor in enumerate(record.sensors):
        at = f"sensors/{index}"
        found, agreement = f"{at}/{counted_name(sensor)}", sensor.counted
        tally = sensor.efforts
        followed = f"{tally.followed.count} of {tally.judged}" if tally.judged else "–"
        ends = tally.followed.share.interval
        share = _percent(ends) if ends and tally.judged else ""
        rows.append(
            Row(
                sensor.label,
                (
                    number_cell(agreement.pairs, f"{found}/pairs", Form(0)),
                    estimate_cell(agreement.bias, f"{found}/bias_bpm", Form(1, sign=True)),
                    estimate_cell(agreement.mae, f"{found}/mae_bpm", Form(1)),
                    estimate_cell(agreement.within, f"{found}/within_tolerance_percent", SHARE),
                    estimate_cell(agreement.within_5, f"{found}/within_5_bpm_percent", SHARE),
                    estimate_cell(sensor.delay, f"{at}/delay_s", Form(1)),
                    Cell(followed, share),
                ),
                sign=signs[sensor.number].text,
            )
        )
    return Table(
        "summary",
        "The test sensors at a glance; 95 % intervals in brackets",
        ("sensor", "pairs", "bias, bpm", "MAE, bpm", "inside tolerance, %", "within ±5 bpm, %",
         "delay, s", "efforts followed"),
        tuple(rows),
        tuple(
            f"{sensor.label}: {_why_no_delay(sensor)}"
            for sensor in record.sensors
            if sensor.delay.caution
        ),
    )  # fmt: skip


def _why_no_delay(sensor: SensorRecord) -> str:
    seen = sensor.delays_seen
    if seen is None:
        return sensor.delay.caution
    return f"{sensor.delay.caution} Seen at half rise: {interval(seen, 0, unit='s')}."


def _percent(ends: tuple[float, float]) -> str:
    return f"{share_interval([100 * end for end in ends])} %"


def statistics(record: SessionRecord, index: int) -> Table:
    """Every statistic of one sensor: with and without what is left out, and without its delay."""
    sensor = record.sensors[index]
    columns = [("whole session", "whole_session", sensor.whole)]
    if sensor.without_exclusions is not None:
        name = f"without {sensor.excluded_s} s left out"
        columns.append((name, "without_exclusions", sensor.without_exclusions))
    if sensor.without_delay is not None:
        columns.append(("the same, delay taken out", "without_delay", sensor.without_delay))
    if sensor.at_readings is not None:
        columns.append(("at its own readings", "at_readings", sensor.at_readings))
    at = f"sensors/{index}"
    rows = [
        Row(
            name,
            tuple(number_cell(of(found), f"{at}/{key}/{fact}", form) for _, key, found in columns),
        )
        for name, fact, form, of in _COUNTS
    ]
    for name, fact, form, estimate in _STATISTICS:
        cells = []
        for _, key, found in columns:
            narrow = found.reference_range_bpm < NARROW_RANGE_BPM
            faint = narrow and fact == "pearson_r"
            cells.append(estimate_cell(estimate(found), f"{at}/{key}/{fact}", form, faint=faint))
        rows.append(Row(name, tuple(cells)))
    notes = list(sensor.counted.cautions)
    for limits in sensor.counted.proportional.limits:
        notes.append(
            f"Limits that follow the slope, at {number(limits.at_bpm, 0)} bpm: "
            f"{number(limits.low_bpm, 1, sign=True)} to "
            f"{number(limits.high_bpm, 1, sign=True)} bpm around "
            f"{number(limits.bias_bpm, 1, sign=True)} bpm."
        )
    if sensor.delay.caution:
        notes.append(_why_no_delay(sensor))
    return Table(
        f"statistics-{index}",
        f"{sensor.label}: every statistic; differences are sensor minus reference",
        ("statistic", *(name for name, _, _ in columns)),
        tuple(rows),
        tuple(dict.fromkeys(notes)),
    )


def parts(record: SessionRecord) -> Table:
    """Agreement per phase, per zone and per section."""
    rows = []
    for index, sensor in enumerate(record.sensors):
        group = sensor.label
        for kind, named in (
            ("phases", sensor.phases),
            ("zones", sensor.zones),
            ("sections", sensor.sections),
        ):
            for place, part in enumerate(named):
                key = place if kind == "sections" else part.name
                at, found = f"sensors/{index}/{kind}/{key}", part.agreement
                rows.append(
                    Row(
                        part.name,
                        (
                            number_cell(found.pairs, f"{at}/pairs", Form(0)),
                            number_cell(
                                found.bias.effective_count, f"{at}/effective_count", Form(0)
                            ),
                            estimate_cell(found.bias, f"{at}/bias_bpm", Form(1, sign=True)),
                            estimate_cell(found.mae, f"{at}/mae_bpm", Form(1)),
                            estimate_cell(found.within, f"{at}/within_tolerance_percent", SHARE),
                            estimate_cell(found.within_5, f"{at}/within_5_bpm_percent", SHARE),
                        ),
                        group,
                        sign_of(record, sensor.label),
                    )
                )
                group = ""
    return Table(
        "parts",
        "By what the heart was doing (rest, rise, steady, fall), by thirds of its own range in "
        "this session, and by sections of the activity; without what is left out",
        (
            "part",
            "pairs",
            "worth",
            "bias, bpm",
            "MAE, bpm",
            "inside tolerance, %",
            "within ±5 bpm, %",
        ),
        tuple(rows),
    )


def efforts(record: SessionRecord) -> Table:
    """Every effort and trough, and each sensor's answer."""
    rows = []
    for place, (name, effort) in enumerate(named_efforts(record.efforts)):
        at = f"efforts/{place}"
        cells = [
            text(_stretch(effort.start_s, effort.return_s)),
            number_cell(effort.peak_bpm, f"{at}/peak_bpm", Form(0)),
            number_cell(effort.rise_bpm, f"{at}/rise_bpm", Form(0)),
        ]
        cells += [
            Cell(sensor.responses[place].answer.value, _response(sensor.responses[place]))
            for sensor in record.sensors
        ]
        rows.append(Row(name + (" (marked)" if effort.marked else ""), tuple(cells)))
    labels = (f"{sign_of(record, s.label)} {s.label}" for s in record.sensors)
    return Table(
        "efforts",
        "Efforts (E) and troughs (T) of the reference, and what each sensor made of them: delay at "
        "half rise, and how far its peak or bottom stays behind (−) or goes beyond (+)",
        ("effort", "time", "peak or bottom, bpm", "rise or depth, bpm", *labels),
        tuple(rows),
        tuple(_effort_notes(record)),
    )


def _response(response: Response) -> str:
    found = []
    if response.delay_s is not None:
        found.append(number(response.delay_s, 1, sign=True, unit="s"))
    if response.shortfall_bpm is not None:
        found.append(number(-response.shortfall_bpm, 0, sign=True, unit="bpm"))
    return ", ".join(found)


def _effort_notes(record: SessionRecord) -> Iterator[str]:
    """Counts with exact intervals, in words."""
    for sensor in record.sensors:
        for kind in Kind:
            tally = sensor.tally(kind)
            if not tally.judged:
                continue
            told = [
                f"{answer.value} {tally.of(answer)} ({_percent(ends)})"
                for answer in Answer
                if answer is not Answer.UNSEEN and (ends := tally.share_of(answer).share.interval)
            ]
            unseen = f"; {tally.unseen} unseen" if tally.unseen else ""
            yield (
                f"{sensor.label}, {kind.value}s, of {tally.judged}: {listed(told)}; exact binomial "
                f"95 % intervals{unseen}."
            )


def error_variances(record: SessionRecord) -> Table:
    """Each sensor's own error, the reference's included."""
    rows = []
    for place, one in enumerate(record.error_variances):
        at, error = f"error_variances/{place}", one.error
        label = record.label(one.sensor) or ""
        variance = Estimate(error.variance, error.interval)
        rows.append(
            Row(
                label,
                (
                    estimate_cell(variance, f"{at}/error_variance_bpm2", Form(1)),
                    number_cell(error.sd_bpm, f"{at}/error_sd_bpm", Form(1)),
                    number_cell(error.effective_count, f"{at}/effective_count", Form(0)),
                    text(error.caution),
                ),
                sign=sign_of(record, label),
            )
        )
    return Table(
        "errors",
        "Each sensor's own error, from the differences between all of them",
        ("sensor", "error variance, bpm²", "error SD, bpm", "worth", "note"),
        tuple(rows),
    )


def closer(record: SessionRecord) -> Table:
    """Each two test sensors compared."""
    rows = tuple(
        Row(
            f"{record.label(one.closer)} against {record.label(one.other)}",
            (
                number_cell(one.seconds, f"closer/{place}/seconds", Form(0)),
                estimate_cell(one.difference, f"closer/{place}/mae_difference_bpm", Form(1)),
                text("yes" if one.is_clear else "no"),
            ),
        )
        for place, one in enumerate(record.closer)
    )
    return Table(
        "closer",
        "Two sensors compared, in this session only: how much smaller the first one's mean "
        "absolute error is, over the seconds that both share",
        ("sensors", "seconds", "MAE smaller by, bpm", "told apart"),
        rows,
    )


def happenings(record: SessionRecord) -> Iterator[Table]:
    """Warnings, what is left out, markers; those that there are."""
    if record.warnings:
        yield Table(
            "warnings",
            "Warnings",
            ("warning", "time", "sensor", "kind", "cause"),
            tuple(
                Row(
                    f"W{one.number}",
                    (
                        text(_stretch(one.since_s, one.end_s)),
                        text(record.label(one.sensor) or "session"),
                        text(one.kind.value),
                        text(one.cause),
                    ),
                )
                for one in record.warnings
            ),
        )
    if record.exclusions:
        yield Table(
            "exclusions",
            "Left out of the statistics (nothing is deleted: both results are given)",
            ("time", "seconds", "for", "reason"),
            tuple(
                Row(
                    _stretch(one.start_s, one.end_s),
                    (
                        text(str(one.end_s - one.start_s)),
                        text(_concerned(record, one.sensor)),
                        text(one.reason),
                    ),
                )
                for one in record.exclusions
            ),
        )
    if record.markers:
        yield Table(
            "markers",
            "The tester's markers",
            ("marker", "time", "note"),
            tuple(
                Row(f"M{place}", (text(clock(one.at_s)), text(one.text)))
                for place, one in enumerate(record.markers, 1)
            ),
        )


def _concerned(record: SessionRecord, number: int) -> str:
    if number in (SESSION, record.reference.number):
        return "all sensors"
    return record.plan.sensor(number).label


def _stretch(start_s: int, end_s: int | None) -> str:
    # One unit for the eye: it is not to be broken into two lines.
    end = "the\u00a0end" if end_s is None else clock(end_s)
    return f"{clock(start_s)}\u00a0to\u00a0{end}"
