"""The agreement of a session for people: tables and sentences, on a console of any kind."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.report.cells import Form
from analysis.report.verdict import never_compared, rule_failures
from analysis.report.words import (
    INVENTED_LONG,
    NONE,
    WIDE,
    WIDE_R,
    clock,
    count,
    ends,
    number,
    share_text,
)  # fmt: skip
from analysis.session.record import SensorRecord, SessionRecord
from analysis.statistics.agreement import NARROW_RANGE_BPM
from analysis.statistics.estimate import Estimate
from analysis.statistics.summary import Agreement
from live.views.terminal.screen import spaced
from replay.event import SESSION
from replay.plan import Plan

CAUTIONS: Final = (
    "Not a medical device; nothing here is a diagnosis.  The intervals describe this one session "
    "and say nothing about other days or other wearers."
)


_BRACKETS: Final = "In brackets: 95 % interval; none where any would be a guess."


def session_parts(record: SessionRecord, title: str) -> Iterator[RenderableType]:
    """All that one session says of agreement, in order: the comparison, each sensor, how."""
    plan = record.plan
    head = f"{title}: {plan.wearer}, {plan.activity}, {clock(record.duration_s)}"
    yield Text(head, style="bold")
    if plan.invented:
        yield Text(INVENTED_LONG, style="bold")
    reference = record.reference
    yield Text(
        f"Reference: {_where(reference.label, reference.placement)}, covered "
        f"{reference.coverage_percent:.1f} % of the session.  {_tolerance(plan)}"
    )
    if record.sensors:
        yield spaced(comparison(record))
    for sensor in record.sensors:
        yield spaced(_sensor_block(sensor, record))
    yield spaced(Group(*_how(record)))


def comparison(record: SessionRecord) -> RenderableType:
    """One row per test sensor, without the reference's bad stretches where there are any."""
    table = Table(box=None, padding=(0, 1, 0, 0), header_style="bold", pad_edge=False)
    table.add_column("sensor", no_wrap=True)
    for name in ("pairs", "bias, bpm", "MAE, bpm", "inside tolerance", "r"):
        table.add_column(name, justify="right")
    for sensor in record.sensors:
        counted = sensor.counted
        table.add_row(
            Text(sensor.label),
            count(counted.pairs),
            with_interval(counted.bias, 1, sign=True),
            with_interval(counted.mae, 1),
            with_interval(counted.within, 0, unit="%"),
            _correlation(counted),
        )
    excluded = any(sensor.without_exclusions for sensor in record.sensors)
    what = "Excluded stretches are taken out.  " if excluded else ""
    return Group(table, Text(f"{what}{_BRACKETS}", style="dim"), *_reasons(record))


def _reasons(record: SessionRecord) -> Iterator[Text]:
    """Why the table has no interval where it says so, a line for each such sensor."""
    for sensor in record.sensors:
        counted = sensor.counted
        for estimate in (counted.bias, counted.mae, counted.within):
            if estimate.value is not None and estimate.interval is None and estimate.caution:
                yield Text(f"{sensor.label}: {estimate.caution}", style="dim")
                break


def _sensor_block(one: SensorRecord, record: SessionRecord) -> RenderableType:
    series = one.facts
    head = Text(_where(series.label, series.placement), style="bold")
    facts = [f"covered {series.coverage_percent:.1f} %", f"gaps: {len(series.gaps)}"]
    facts += [f"{series.malformed} malformed"] if series.malformed else []
    facts += [f"{series.invalid} without a valid value"] if series.invalid else []
    facts += [f"firmware {series.firmware}"] if series.firmware else []
    head.append(f"  {', '.join(facts)}", style="not bold")
    parts: list[RenderableType] = [head]
    columns = [("whole session", one.whole)]
    if one.without_exclusions is not None:
        name = f"without {one.excluded_s} s excluded"
        columns.append((name, one.without_exclusions))
    counted = columns[-1][1]
    parts.append(Text(sentence(series.label, record.reference.label, counted)))
    parts.append(_statistics(columns))
    parts += [Text(f"Caution: {caution}", style="italic") for caution in counted.cautions]
    return Group(*parts)


def sentence(label: str, reference: str, agreement: Agreement) -> str:
    """What the numbers say, in plain words and no stronger than the intervals allow."""
    bias = agreement.bias.value
    if not agreement.pairs or bias is None:
        return never_compared(label, reference)
    words = f"{label} read {abs(bias):.1f} bpm {'above' if bias > 0 else 'below'} {reference}"
    if abs(bias) < 0.05:  # it would be called 0.0 bpm below
        words = f"{label} read the same as {reference}"
    interval = agreement.bias.interval
    if interval is not None:
        words += f" on average (95 % interval {ends(agreement.bias, 1, sign=True, unit='bpm')})"
        if interval[0] <= 0 <= interval[1]:
            words += ", which cannot be told from no bias"
    else:
        words += " on average"
    share = agreement.within.value
    if share is not None:
        words += f"; {share_text(share)} % of the seconds lay inside the tolerance"
    return words + "."


def _statistics(columns: list[tuple[str, Agreement]]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold", pad_edge=False)
    table.add_column("", no_wrap=True)
    for name, _ in columns:
        table.add_column(name, justify="right", no_wrap=True)
    table.add_row("pairs", *(count(a.pairs) for _, a in columns))
    worth = [a.bias.effective_count for _, a in columns]
    table.add_row("as many as independent", *("" if c is None else f"{c:.0f}" for c in worth))
    for name, attribute, form in _ROWS:
        cells = (
            with_interval(
                getattr(a, attribute), form.digits, sign=form.sign, unit=form.unit, wide=form.wide
            )
            for _, a in columns
        )
        table.add_row(name, *cells)
    return table


_ROWS: Final = (
    ("bias, bpm", "bias", Form(2, sign=True)),
    ("SD of differences, bpm", "sd", Form(2)),
    ("lower limit of agreement, bpm", "loa_low", Form(1, sign=True)),
    ("upper limit of agreement, bpm", "loa_high", Form(1, sign=True)),
    ("MAE, bpm", "mae", Form(2)),
    ("MAPE, %", "mape", Form(2)),
    ("RMSE, bpm", "rmse", Form(2)),
    ("inside tolerance", "within", Form(1, unit="%")),
    ("Pearson r", "pearson_r", Form(3, wide=WIDE_R)),
    ("concordance (CCC)", "concordance", Form(3, wide=WIDE_R)),
)


def _how(record: SessionRecord) -> Iterator[Text]:
    yield Text("Excluded", style="bold")
    for stretch in record.exclusions:
        whose = "all sensors"
        if stretch.sensor != SESSION:
            whose = record.plan.sensor(stretch.sensor).label
        yield Text(
            f"  {clock(stretch.start_s)} to {clock(stretch.end_s)} ({stretch.seconds} s), {whose}: "
            f"{stretch.reason}"
        )
    if not record.exclusions:
        yield Text("  nothing: no bad stretch of the reference was found, and none was marked.")
    for caution in (*rule_failures(record), *record.cautions):
        yield Text(f"Caution: {caution}", style="italic")
    yield Text(
        "Differences are test minus reference, paired on a 1 s grid with the newest valid reading "
        "not older than each sensor's hold_s.  " + CAUTIONS,
        style="dim",
    )


def _correlation(agreement: Agreement) -> Text:
    r = agreement.pearson_r.value
    narrow = agreement.reference_range_bpm < NARROW_RANGE_BPM
    words = "–" if r is None else f"{r:.2f}{'?' if narrow else ''}"
    return Text(words, style="dim" if narrow else "")


def _where(label: str, placement: str) -> str:
    return f"{label} ({placement})" if placement else label


def _tolerance(plan: Plan) -> str:
    bpm, percent = plan.tolerance_bpm, plan.tolerance_percent
    return f"Tolerance: ±{bpm:g} bpm or ±{percent:g} %, whichever is greater."


def with_interval(
    estimate: Estimate, digits: int, *, sign: bool = False, unit: str = "", wide: float = WIDE
) -> str:
    """A statistic with its interval in brackets; ``none`` where any would be a guess."""
    if estimate.value is None:
        return NONE
    if unit == "%":
        inside = ends(estimate, digits, unit=unit).removesuffix(" %")
        return f"{share_text(estimate.value, digits)} % ({inside or 'none'})"
    value = number(estimate.value, digits, sign=sign)
    return f"{value} ({ends(estimate, digits, sign=sign, wide=wide) or 'none'})"
