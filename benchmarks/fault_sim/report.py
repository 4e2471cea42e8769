"""The benchmark's figures: numbers, tables, JSON."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Any

from scipy import stats

from analysis.board.snapshot import WarningKind
from benchmarks.fault_sim.faults import JUDGEMENTS
from benchmarks.fault_sim.score import Alarm, Outcome, Score

FALSE_ALARM_GOAL_PER_H = 0.5


def figures(score: Score) -> dict[str, Any]:
    """Everything as plain values, with units in the keys."""
    return {
        "faulty_hours": round(score.faulty_h, 2),
        "clean_hours": round(score.clean_h, 2),
        "faults": [
            _row(kind, [one for one in score.outcomes if one.kind == kind], judgement.limit_s)
            | {"rule": judgement.rule, "goal_percent": judgement.goal_percent or None}
            for kind, judgement in JUDGEMENTS.items()
        ],
        "rules": _rules(score),
        "clean_false_alarms": _rate(len(score.clean_alarms), score.clean_h)
        | {"goal_per_hour": FALSE_ALARM_GOAL_PER_H},
        "confusions": [
            {"fault": fault, "warning": warning, "count": count}
            for (fault, warning), count in sorted(_confusions(score.alarms).items())
        ],
        "unexplained_outside_faults": _rate(
            sum(not alarm.during for alarm in score.alarms), score.faulty_h
        ),
    }


def _row(kind: str, outcomes: Sequence[Outcome], limit_s: float) -> dict[str, Any]:
    times = sorted(one.found_s for one in outcomes if one.found_s is not None)
    causes = sorted(one.since_cause_s for one in outcomes if one.since_cause_s is not None)
    in_time = sum(time <= limit_s for time in times)
    low, high = _share_interval(in_time, len(outcomes))
    return {
        "fault": kind,
        "faults": len(outcomes),
        "limit_s": limit_s,
        "found_in_time_percent": _percent(in_time, len(outcomes)),
        "found_in_time_low_percent": low,
        "found_in_time_high_percent": high,
        "found_percent": _percent(len(times), len(outcomes)),
        "median_s": _quantile(times, 0.5),
        "p95_s": _quantile(times, 0.95),
        "median_since_cause_s": _quantile(causes, 0.5),
        "p95_since_cause_s": _quantile(causes, 0.95),
    }


def _rules(score: Score) -> list[dict[str, Any]]:
    rows = []
    for kind in WarningKind:
        outcomes = [one for one in score.outcomes if JUDGEMENTS[one.kind].rule == kind.value]
        limits = {JUDGEMENTS[one.kind].limit_s for one in outcomes}
        row = _row(kind.value, outcomes, max(limits, default=0.0))
        clean = sum(alarm.kind == kind.value for alarm in score.clean_alarms)
        faulty = sum(alarm.kind == kind.value for alarm in score.alarms)
        rows.append(
            {"rule": row.pop("fault"), **row}
            | {"clean_false_alarms_per_hour": _per_hour(clean, score.clean_h)}
            | {"false_alarms_beside_faults_per_hour": _per_hour(faulty, score.faulty_h)}
        )
    return rows


def _confusions(alarms: Sequence[Alarm]) -> Counter[tuple[str, str]]:
    return Counter((fault, alarm.kind) for alarm in alarms for fault in alarm.during)


def _percent(part: int, whole: int) -> float | None:
    return round(100 * part / whole, 1) if whole else None


def _quantile(values: Sequence[float], share: float) -> float | None:
    """The smallest value that at least this share does not exceed."""
    if not values:
        return None
    return round(values[max(math.ceil(share * len(values)) - 1, 0)], 1)


def _share_interval(part: int, whole: int) -> tuple[float | None, float | None]:
    """Exact binomial interval, 95 %, in percent (Clopper and Pearson 1934)."""
    if not whole:
        return None, None
    low = stats.beta.ppf(0.025, part, whole - part + 1) if part else 0.0
    high = stats.beta.ppf(0.975, part + 1, whole - part) if part < whole else 1.0
    return round(100 * float(low), 1), round(100 * float(high), 1)


def _per_hour(count: int, hours: float) -> float | None:
    return round(count / hours, 3) if hours else None


def _rate(count: int, hours: float) -> dict[str, Any]:
    """A rate with its exact Poisson interval, 95 % (from chi-squared, Garwood 1936)."""
    if not hours:
        return {"count": count, "per_hour": None, "low_per_hour": None, "high_per_hour": None}
    low = float(stats.chi2.ppf(0.025, 2 * count)) / 2 if count else 0.0
    high = float(stats.chi2.ppf(0.975, 2 * count + 2)) / 2
    return {
        "count": count,
        "per_hour": round(count / hours, 3),
        "low_per_hour": round(low / hours, 3),
        "high_per_hour": round(high / hours, 3),
    }


def recorded_figures(name: str, hours: float, alarms: Sequence[Alarm]) -> dict[str, Any]:
    """Warnings on recorded RR intervals, by kind."""
    kinds = Counter(alarm.kind for alarm in alarms)
    return (
        {"file": name, "hours": round(hours, 2)}
        | _rate(len(alarms), hours)
        | {"warnings": dict(sorted(kinds.items()))}
    )


def as_markdown(values: dict[str, Any]) -> str:
    """The tables for the documentation; readable in a terminal as well."""
    lines = [
        f"Faulty sessions {values['faulty_hours']} h, clean sessions {values['clean_hours']} h.",
        "",
        "### Faults found",
        "",
        "Times in s from the fault's start, as defined in `benchmarks/fault_sim/faults.py`; "
        "in brackets the exact 95 % interval of the share.",
        "",
    ]
    lines += _table(
        ("fault", "rule", "n", "limit s", "goal %", "in time %", "found %", "median s", "95 % s"),
        [
            (
                row["fault"], row["rule"], row["faults"], f"{row['limit_s']:g}",
                row["goal_percent"], _with_interval(row), row["found_percent"],
                row["median_s"], row["p95_s"],
            )
            for row in values["faults"]
        ],
    )  # fmt: skip
    lines += ["", "### Goals", ""]
    lines += _table(("goal", "reached", "met"), _goals(values))
    lines += ["", "### Rules", "", "False alarms: warnings that no fault explains.", ""]
    lines += _table(
        ("rule", "n", "in time %", "found %", "median s", "95 % s",
         "false/h, clean", "false/h, beside faults"),
        [
            (
                row["rule"], row["faults"], _with_interval(row), row["found_percent"],
                row["median_s"], row["p95_s"], row["clean_false_alarms_per_hour"],
                row["false_alarms_beside_faults_per_hour"],
            )
            for row in values["rules"]
        ],
    )  # fmt: skip
    clean = values["clean_false_alarms"]
    lines += [
        "",
        f"All rules on clean sessions: {clean['count']} false alarms, {_rate_text(clean)} "
        f"(goal: under {clean['goal_per_hour']}). In faulty sessions outside all faults: "
        f"{_rate_text(values['unexplained_outside_faults'])}.",
        "",
        "### Confusions",
        "",
        "Warnings raised while a fault was on that it neither deserves nor explains.",
        "",
    ]
    lines += _table(
        ("fault", "warning", "count"),
        [(row["fault"], row["warning"], row["count"]) for row in values["confusions"]],
    )
    if values.get("recorded"):
        lines += [
            "",
            "### Recorded hearts",
            "",
            "Warnings on RR intervals of recordings that are not part of this repository. This "
            "part cannot be made again from the repository alone; `--rr FILE` does the same with "
            "a file of your own.",
        ]
    for row in values.get("recorded", ()):
        lines += [
            "",
            f"Recorded RR intervals, {row['file']} ({row['hours']} h): {row['count']} warnings, "
            f"{_rate_text(row)}; " + (_listed(row["warnings"]) or "none") + ".",
        ]
    return "\n".join(lines) + "\n"


def _goals(values: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Each goal beside what was reached."""
    rows: list[tuple[str, str, str]] = []
    for row in values["faults"]:
        goal, share = row["goal_percent"], row["found_in_time_percent"]
        if goal and share is not None:
            asked = f"{row['fault']}: {goal:g} % within {row['limit_s']:g} s"
            rows.append((asked, f"{share:g} %", "yes" if share >= goal else "no"))
    clean = values["clean_false_alarms"]
    if clean["per_hour"] is not None:
        asked = f"false alarms on clean sessions: under {clean['goal_per_hour']:g} per hour"
        met = clean["per_hour"] < clean["goal_per_hour"]
        rows.append((asked, f"{clean['per_hour']:g} per hour", "yes" if met else "no"))
    return rows


def _with_interval(row: dict[str, Any]) -> str | None:
    if row["found_in_time_percent"] is None:
        return None
    low, high = row["found_in_time_low_percent"], row["found_in_time_high_percent"]
    return f"{row['found_in_time_percent']} ({low}–{high})"


def _rate_text(rate: dict[str, Any]) -> str:
    if rate["per_hour"] is None:
        return "no hours"
    return f"{rate['per_hour']} per hour ({rate['low_per_hour']}–{rate['high_per_hour']})"


def _listed(counts: dict[str, int]) -> str:
    return ", ".join(f"{kind} {count}" for kind, count in counts.items())


def _table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    cells = [list(head)] + [["–" if cell is None else str(cell) for cell in row] for row in rows]
    widths = [max(len(row[at]) for row in cells) for at in range(len(head))]
    lines = [
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |"
        for row in cells
    ]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return lines
