"""The page's tables, made of the facts alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from analysis.report.cells import Cell, Form, cell
from analysis.report.palette import SIGNS
from analysis.report.words import clock, interval, listed, number
from analysis.statistics.agreement import NARROW_RANGE_BPM
from analysis.statistics.phases import PHASES, ZONES

Facts = Mapping[str, Any]


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


_STATISTICS: Final = (
    ("bias, bpm", "bias_bpm", Form(2, sign=True)),
    ("SD of the differences, bpm", "sd_bpm", Form(2)),
    ("lower limit of agreement, bpm", "loa_low_bpm", Form(1, sign=True)),
    ("upper limit of agreement, bpm", "loa_high_bpm", Form(1, sign=True)),
    ("mean absolute error (MAE), bpm", "mae_bpm", Form(2)),
    ("MAPE, %", "mape_percent", Form(2)),
    ("RMSE, bpm", "rmse_bpm", Form(2)),
    ("inside tolerance, %", "within_tolerance_percent", Form(1)),
    ("Pearson r", "pearson_r", Form(3)),
    ("concordance (CCC)", "concordance", Form(3)),
    ("slope of difference on mean, bpm per bpm", "slope_bpm_per_bpm", Form(3, sign=True)),
)

_COUNTS: Final = (
    ("pairs", "pairs", Form(0)),
    ("worth, for the bias: independent pairs", "effective_count", Form(0)),
    ("worth, for the SD", "effective_count_sd", Form(0)),
    ("worth, for r", "effective_count_r", Form(0)),
    ("reference: mean over the pairs, bpm", "reference_mean_bpm", Form(1)),
    ("reference: SD, bpm", "reference_sd_bpm", Form(1)),
    ("reference: range (5th to 95th percentile), bpm", "reference_range_bpm", Form(0)),
    ("sensor: mean over the pairs, bpm", "test_mean_bpm", Form(1)),
    ("sensor: SD, bpm", "test_sd_bpm", Form(1)),
)


def text(words: str) -> Cell:
    """A cell of words."""
    return Cell(words)


def sign_of(facts: Facts, label: str) -> str:
    """The shape of a sensor in the figures; none for the reference."""
    labels = [sensor["label"] for sensor in facts["sensors"]]
    return SIGNS[labels.index(label) % len(SIGNS)] if label in labels else ""


def summary(facts: Facts) -> Table:
    """One row per test sensor, without what is left out."""
    rows = []
    for index, sensor in enumerate(facts["sensors"]):
        at = f"sensors/{index}"
        found = f"{at}/{sensor['counted']}"
        efforts = sensor["efforts"]
        judged = efforts["count"] - efforts["unseen"]
        followed = f"{efforts['followed']} of {judged}" if judged else "–"
        ends = efforts["followed_share_interval"]
        share = (
            f"{number(100 * ends[0], 0)} to {number(100 * ends[1], 0)} %" if ends and judged else ""
        )
        rows.append(
            Row(
                sensor["label"],
                (
                    cell(facts, f"{found}/pairs", Form(0), bare=True),
                    cell(facts, f"{found}/bias_bpm", Form(1, sign=True)),
                    cell(facts, f"{found}/mae_bpm", Form(1)),
                    cell(facts, f"{found}/within_tolerance_percent", Form(1)),
                    cell(facts, f"{at}/delay_s", Form(1)),
                    Cell(followed, share),
                ),
                sign=SIGNS[index % len(SIGNS)],
            )
        )
    return Table(
        "summary",
        "The test sensors at a glance; 95 % intervals in brackets",
        ("sensor", "pairs", "bias, bpm", "MAE, bpm", "inside tolerance, %", "delay, s",
         "efforts followed"),
        tuple(rows),
        tuple(
            f"{sensor['label']}: {_why_no_delay(sensor)}"
            for sensor in facts["sensors"]
            if sensor["delay_caution"]
        ),
    )  # fmt: skip


def _why_no_delay(sensor: Facts) -> str:
    seen = sensor["delays_seen_s"]
    if seen is None:
        return str(sensor["delay_caution"])
    return f"{sensor['delay_caution']} Seen at half rise: {interval(seen, 0, unit='s')}."


def statistics(facts: Facts, index: int) -> Table:
    """Every statistic of one sensor: with and without what is left out, and without its delay."""
    sensor = facts["sensors"][index]
    columns = [("whole session", "whole_session")]
    if sensor["without_exclusions"] is not None:
        columns.append((f"without {sensor['excluded_s']} s left out", "without_exclusions"))
    if sensor["without_delay"] is not None:
        columns.append(("the same, delay taken out", "without_delay"))
    at = f"sensors/{index}"
    rows = [
        Row(name, tuple(cell(facts, f"{at}/{key}/{fact}", form, bare=True) for _, key in columns))
        for name, fact, form in _COUNTS
    ]
    for name, fact, form in _STATISTICS:
        cells = []
        for _, key in columns:
            narrow = sensor[key]["reference_range_bpm"] < NARROW_RANGE_BPM
            faint = narrow and fact == "pearson_r"
            cells.append(cell(facts, f"{at}/{key}/{fact}", form, faint=faint))
        rows.append(Row(name, tuple(cells)))
    notes = list(sensor[sensor["counted"]]["cautions"])
    for limits in sensor[sensor["counted"]]["sloped_limits"]:
        notes.append(
            f"Limits that follow the slope, at {number(limits['at_bpm'], 0)} bpm: "
            f"{number(limits['loa_low_bpm'], 1, sign=True)} to "
            f"{number(limits['loa_high_bpm'], 1, sign=True)} bpm around "
            f"{number(limits['bias_bpm'], 1, sign=True)} bpm."
        )
    if sensor["delay_caution"]:
        notes.append(_why_no_delay(sensor))
    return Table(
        f"statistics-{index}",
        f"{sensor['label']}: every statistic; differences are sensor minus reference",
        ("statistic", *(name for name, _ in columns)),
        tuple(rows),
        tuple(dict.fromkeys(notes)),
    )


def parts(facts: Facts) -> Table:
    """Agreement per phase and per zone."""
    rows = []
    for index, sensor in enumerate(facts["sensors"]):
        group = sensor["label"]
        for kind, names in (("phases", PHASES), ("zones", ZONES)):
            for name in names:
                at = f"sensors/{index}/{kind}/{name}"
                rows.append(
                    Row(
                        name,
                        (
                            cell(facts, f"{at}/pairs", Form(0), bare=True),
                            cell(facts, f"{at}/effective_count", Form(0), bare=True),
                            cell(facts, f"{at}/bias_bpm", Form(1, sign=True)),
                            cell(facts, f"{at}/mae_bpm", Form(1)),
                            cell(facts, f"{at}/within_tolerance_percent", Form(1)),
                        ),
                        group,
                        sign_of(facts, sensor["label"]),
                    )
                )
                group = ""
    return Table(
        "parts",
        "By what the heart was doing (rest, rise, steady, fall) and by thirds of its own range in "
        "this session; without what is left out",
        ("part", "pairs", "worth", "bias, bpm", "MAE, bpm", "inside tolerance, %"),
        tuple(rows),
    )


def efforts(facts: Facts) -> Table:
    """Every effort and trough, and each sensor's answer."""
    rows = []
    numbers = {"effort": 0, "trough": 0}
    for place, effort in enumerate(facts["efforts"]):
        kind = effort["kind"]
        numbers[kind] += 1
        at = f"efforts/{place}"
        cells = [
            text(_stretch(effort["start_s"], effort["return_s"])),
            cell(facts, f"{at}/peak_bpm", Form(0), bare=True),
            cell(facts, f"{at}/rise_bpm", Form(0), bare=True),
        ]
        cells += [
            Cell(
                sensor["responses"][place]["answer"],
                _response(sensor["responses"][place]),
            )
            for sensor in facts["sensors"]
        ]
        name = f"{kind[0].upper()}{numbers[kind]}" + (" (marked)" if effort["marked"] else "")
        rows.append(Row(name, tuple(cells)))
    labels = (f"{sign_of(facts, s['label'])} {s['label']}" for s in facts["sensors"])
    return Table(
        "efforts",
        "Efforts (E) and troughs (T) of the reference, and what each sensor made of them: delay at "
        "half rise, and how far its peak or bottom stays behind (−) or goes beyond (+)",
        ("effort", "time", "peak or bottom, bpm", "rise or depth, bpm", *labels),
        tuple(rows),
        tuple(_effort_notes(facts)),
    )


def _response(response: Mapping[str, Any]) -> str:
    found = []
    if response["delay_s"] is not None:
        found.append(number(response["delay_s"], 1, sign=True, unit="s"))
    if response["shortfall_bpm"] is not None:
        found.append(number(-response["shortfall_bpm"], 0, sign=True, unit="bpm"))
    return ", ".join(found)


def _effort_notes(facts: Facts) -> Iterator[str]:
    """Counts with exact intervals, in words."""
    for sensor in facts["sensors"]:
        for kind in ("effort", "trough"):
            counts = sensor[f"{kind}s"]
            judged = counts["count"] - counts["unseen"]
            if not judged:
                continue
            told = [
                f"{answer} {counts[answer]} ({number(100 * ends[0], 0)} to "
                f"{number(100 * ends[1], 0)} %)"
                for answer in ("followed", "late", "blunted", "missed")
                if (ends := counts[f"{answer}_share_interval"])
            ]
            unseen = f"; {counts['unseen']} unseen" if counts["unseen"] else ""
            yield (
                f"{sensor['label']}, {kind}s, of {judged}: {listed(told)}; exact binomial 95 % "
                f"intervals{unseen}."
            )


def error_variances(facts: Facts) -> Table:
    """Each sensor's own error, the reference's included."""
    rows = tuple(
        Row(
            one["sensor"],
            (
                cell(facts, f"error_variances/{place}/error_variance_bpm2", Form(1)),
                cell(facts, f"error_variances/{place}/error_sd_bpm", Form(1), bare=True),
                cell(facts, f"error_variances/{place}/effective_count", Form(0), bare=True),
                text(one["caution"] or ""),
            ),
            sign=sign_of(facts, one["sensor"]),
        )
        for place, one in enumerate(facts["error_variances"])
    )
    return Table(
        "errors",
        "Each sensor's own error, from the differences between all of them",
        ("sensor", "error variance, bpm²", "error SD, bpm", "worth", "note"),
        rows,
    )


def coverage(facts: Facts) -> Table:
    """Coverage, gaps, and what part of the error lies beside them."""
    holders = [("reference", facts["reference"])]
    holders += [(f"sensors/{i}", sensor) for i, sensor in enumerate(facts["sensors"])]
    rows = []
    for at, sensor in holders:
        cells = [
            cell(facts, f"{at}/{name}", Form(digits), bare=True)
            for name, digits in (
                ("coverage_percent", 1), ("gaps", 0), ("gap_s", 0), ("longest_gap_s", 0),
                ("notifications", 0), ("malformed", 0), ("invalid", 0),
            )
        ]  # fmt: skip
        if "gap_error" in sensor:
            cells += [
                cell(facts, f"{at}/gap_error/beside_gaps_pairs_percent", Form(1), bare=True),
                cell(facts, f"{at}/gap_error/beside_gaps_error_percent", Form(1), bare=True),
                cell(facts, f"{at}/gap_error/beside_gaps_mae_bpm", Form(1)),
                cell(facts, f"{at}/gap_error/elsewhere_mae_bpm", Form(1)),
            ]
        else:
            cells += [text("")] * 4
        rows.append(Row(sensor["label"], tuple(cells), sign=sign_of(facts, sensor["label"])))
    return Table(
        "coverage",
        "Coverage and gaps, and what part of the error lies beside gaps",
        ("sensor", "coverage, %", "gaps", "in all, s", "longest, s", "notifications", "malformed",
         "invalid", "pairs beside gaps, %", "error there, % of all", "MAE there, bpm",
         "MAE elsewhere, bpm"),
        tuple(rows),
        ("Beside a gap: a value that stands in for a missed one, and the first 10 s after a gap, "
         "of the sensor or of the reference.",),
    )  # fmt: skip


def closer(facts: Facts) -> Table:
    """Each two test sensors compared."""
    rows = tuple(
        Row(
            f"{one['closer']} against {one['other']}",
            (
                cell(facts, f"closer/{place}/seconds", Form(0), bare=True),
                cell(facts, f"closer/{place}/mae_difference_bpm", Form(1)),
                text("yes" if one["separated"] else "no"),
            ),
        )
        for place, one in enumerate(facts["closer"])
    )
    return Table(
        "closer",
        "Two sensors compared, in this session only: how much smaller the first one's mean "
        "absolute error is, over the seconds that both share",
        ("sensors", "seconds", "MAE smaller by, bpm", "told apart"),
        rows,
    )


def happenings(facts: Facts) -> Iterator[Table]:
    """Warnings, what is left out, markers; those that there are."""
    if facts["warnings"]:
        yield Table(
            "warnings",
            "Warnings",
            ("warning", "time", "sensor", "kind", "cause"),
            tuple(
                Row(
                    f"W{one['number']}",
                    (
                        text(_stretch(one["since_s"], one["end_s"])),
                        text(one["sensor"] or "session"),
                        text(one["kind"]),
                        text(one["cause"]),
                    ),
                )
                for one in facts["warnings"]
            ),
        )
    if facts["exclusions"]:
        yield Table(
            "exclusions",
            "Left out of the statistics (nothing is deleted: both results are given)",
            ("time", "seconds", "for", "reason"),
            tuple(
                Row(
                    _stretch(one["start_s"], one["end_s"]),
                    (
                        text(str(one["end_s"] - one["start_s"])),
                        text(_concerned(facts, one["sensor"])),
                        text(one["reason"]),
                    ),
                )
                for one in facts["exclusions"]
            ),
        )
    if facts["markers"]:
        yield Table(
            "markers",
            "The tester's markers",
            ("marker", "time", "note"),
            tuple(
                Row(f"M{place}", (text(clock(one["at_s"])), text(one["text"])))
                for place, one in enumerate(facts["markers"], 1)
            ),
        )


def _concerned(facts: Facts, label: str | None) -> str:
    return "all sensors" if label in (None, facts["reference"]["label"]) else str(label)


def _stretch(start_s: int, end_s: int | None) -> str:
    # One unit for the eye: it is not to be broken into two lines.
    end = "the\u00a0end" if end_s is None else clock(end_s)
    return f"{clock(start_s)}\u00a0to\u00a0{end}"
