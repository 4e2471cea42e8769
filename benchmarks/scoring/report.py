"""The benchmark's figures: numbers, tables, JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from analysis.board.snapshot import WarningKind
from benchmarks.scoring.exact import (
    per_hour,
    percent,
    quantile,
    rate,
    rate_text,
    share_interval,
    table,
)
from benchmarks.scoring.intensity import DEFINED, INTENSITIES
from benchmarks.scoring.score import Alarm, Judgements, Outcome, Score

FALSE_ALARM_GOAL_PER_H = 0.1
LOOSE_GOAL_PER_H = 0.5
FROZEN_GOAL_PER_SENSOR_H = 0.5


def figures(score: Score, judgements: Judgements) -> dict[str, Any]:
    """Everything as plain values, with units in the keys."""
    return {
        "faulty_hours": round(score.faulty_h, 2),
        "clean_hours": round(score.clean_h, 2),
        "faults": [
            _row(kind, [one for one in score.outcomes if one.kind == kind], judgement.limit_s)
            | {"rule": judgement.rule, "goal_percent": judgement.goal_percent or None}
            for kind, judgement in judgements.items()
            if judgement.right
        ],
        "rules": _rules(score, judgements),
        "clean_false_alarms": rate(len(score.clean_alarms), score.clean_h)
        | {"goal_per_hour": FALSE_ALARM_GOAL_PER_H},
        "clean_sensor_hours": round(score.clean_sensor_h, 2),
        "clean_by_intensity": _by_intensity(score.clean_alarms, score.clean_s),
        "faulty_by_intensity": _by_intensity(score.alarms, score.faulty_s),
        "confusions": [
            {"fault": fault, "warning": warning, "count": count}
            for (fault, warning), count in sorted(_confusions(score.alarms).items())
        ],
        "unexplained_outside_faults": rate(
            sum(not alarm.during for alarm in score.alarms), score.faulty_h
        ),
    }


def _row(kind: str, outcomes: Sequence[Outcome], limit_s: float) -> dict[str, Any]:
    times = sorted(one.found_s for one in outcomes if one.found_s is not None)
    causes = sorted(one.since_cause_s for one in outcomes if one.since_cause_s is not None)
    in_time = sum(time <= limit_s for time in times)
    low, high = share_interval(in_time, len(outcomes))
    return {
        "fault": kind,
        "faults": len(outcomes),
        "limit_s": limit_s,
        "found_in_time_percent": percent(in_time, len(outcomes)),
        "found_in_time_low_percent": low,
        "found_in_time_high_percent": high,
        "found_percent": percent(len(times), len(outcomes)),
        "median_s": quantile(times, 0.5),
        "p95_s": quantile(times, 0.95),
        "median_since_cause_s": quantile(causes, 0.5),
        "p95_since_cause_s": quantile(causes, 0.95),
    }


def _rules(score: Score, judgements: Judgements) -> list[dict[str, Any]]:
    rows = []
    for kind in WarningKind:
        outcomes = [one for one in score.outcomes if judgements[one.kind].rule == kind.value]
        limits = {judgements[one.kind].limit_s for one in outcomes}
        row = _row(kind.value, outcomes, max(limits, default=0.0))
        clean = sum(alarm.kind == kind.value for alarm in score.clean_alarms)
        faulty = sum(alarm.kind == kind.value for alarm in score.alarms)
        rows.append(
            {"rule": row.pop("fault"), **row}
            | {"clean_false_alarms_per_hour": per_hour(clean, score.clean_h)}
            | {"clean_false_alarms_per_sensor_hour": per_hour(clean, score.clean_sensor_h)}
            | {"false_alarms_beside_faults_per_hour": per_hour(faulty, score.faulty_h)}
        )
    return rows


def _by_intensity(alarms: Sequence[Alarm], seconds: Counter[str]) -> list[dict[str, Any]]:
    """For each intensity its hours and the rate of every rule that was wrong, and of all."""
    kinds = sorted({alarm.kind for alarm in alarms})
    rows = []
    for intensity in INTENSITIES:
        hours = seconds[intensity] / 3600
        there = Counter(alarm.kind for alarm in alarms if alarm.intensity == intensity)
        rows.append(
            {"intensity": intensity, "hours": round(hours, 2)}
            | {"all": rate(there.total(), hours)}
            | {"rules": {kind: rate(there[kind], hours) for kind in kinds}}
        )
    return rows


def _confusions(alarms: Sequence[Alarm]) -> Counter[tuple[str, str]]:
    return Counter((fault, alarm.kind) for alarm in alarms for fault in alarm.during)


def recorded_figures(name: str, hours: float, alarms: Sequence[Alarm]) -> dict[str, Any]:
    """Warnings on recorded RR intervals, by kind."""
    kinds = Counter(alarm.kind for alarm in alarms)
    return (
        {"file": name, "hours": round(hours, 2)}
        | rate(len(alarms), hours)
        | {"warnings": dict(sorted(kinds.items()))}
    )


def as_markdown(values: dict[str, Any], defined_in: str) -> str:
    """The tables for the documentation; readable in a terminal as well.

    ``defined_in``: the module that says what counts as found, and from when.
    """
    lines = [
        f"Faulty sessions {values['faulty_hours']} h, clean sessions {values['clean_hours']} h.",
        "",
        "### Faults found",
        "",
        f"Times in s from the fault's start, as defined in `{defined_in}`; "
        "in brackets the exact 95 % interval of the share.",
        "",
    ]
    lines += table(
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
    lines += table(("goal", "reached", "met"), _goals(values))
    lines += ["", "### Rules", "", "False alarms: warnings that no fault explains.", ""]
    lines += table(
        ("rule", "n", "in time %", "found %", "median s", "95 % s",
         "false/h, clean", "false/sensor-h, clean", "false/h, beside faults"),
        [
            (
                row["rule"], row["faults"], _with_interval(row), row["found_percent"],
                row["median_s"], row["p95_s"], row["clean_false_alarms_per_hour"],
                row["clean_false_alarms_per_sensor_hour"],
                row["false_alarms_beside_faults_per_hour"],
            )
            for row in values["rules"]
        ],
    )  # fmt: skip
    clean = values["clean_false_alarms"]
    lines += [
        "",
        f"All rules on clean sessions: {clean['count']} false alarms, {rate_text(clean)} "
        f"(goal: under {clean['goal_per_hour']}). In faulty sessions outside all faults: "
        f"{rate_text(values['unexplained_outside_faults'])}.",
        "",
        "### False alarms by intensity",
        "",
        f"On clean sessions, per hour with the exact 95 % interval ({DEFINED}).",
        "",
        *_intensity_table(values["clean_by_intensity"]),
        "",
        "In faulty sessions, all that no fault explains:",
        "",
        *_intensity_table(values["faulty_by_intensity"]),
        "",
        "### Confusions",
        "",
        "Warnings raised while a fault was on that it neither deserves nor explains.",
        "",
    ]
    lines += table(
        ("fault", "warning", "count"),
        [(row["fault"], row["warning"], row["count"]) for row in values["confusions"]],
    )
    return "\n".join(lines) + "\n"


def recorded_markdown(rows: Sequence[dict[str, Any]]) -> str:
    """What was raised on recordings that are not part of the repository."""
    lines = [
        "### Recorded hearts",
        "",
        "Warnings on RR intervals of recordings that are not part of this repository. This part "
        "cannot be made again from the repository alone; `--rr FILE` does the same with a file of "
        "your own.",
    ]
    for row in rows:
        lines += [
            "",
            f"Recorded RR intervals, {row['file']} ({row['hours']} h): {row['count']} warnings, "
            f"{rate_text(row)}; " + (_listed(row["warnings"]) or "none") + ".",
        ]
    return "\n".join(lines) + "\n"


def _intensity_table(rows: Sequence[dict[str, Any]]) -> list[str]:
    kinds = list(rows[0]["rules"]) if rows else []
    body: list[tuple[object, ...]] = [("hours", *(row["hours"] for row in rows))]
    body += [(kind, *(_cell(row["rules"][kind]) for row in rows)) for kind in kinds]
    body.append(("all", *(_cell(row["all"]) for row in rows)))
    return table(("rule", *(row["intensity"] for row in rows)), body)


def _cell(values: dict[str, Any]) -> str | None:
    if values["per_hour"] is None:
        return None
    low, high = values["low_per_hour"], values["high_per_hour"]
    return f"{values['count']}: {values['per_hour']} ({low}–{high})"


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
    for kind, unit, goal in (
        (WarningKind.LOOSE_REFERENCE, "hour", LOOSE_GOAL_PER_H),
        (WarningKind.FROZEN, "sensor_hour", FROZEN_GOAL_PER_SENSOR_H),
    ):
        row = next(row for row in values["rules"] if row["rule"] == kind.value)
        reached = row[f"clean_false_alarms_per_{unit}"]
        if reached is not None:
            per = unit.replace("_", "-")
            asked = f"false {kind.value} on clean sessions: under {goal:g} per {per}"
            rows.append((asked, f"{reached:g} per {per}", "yes" if reached < goal else "no"))
    return rows


def _with_interval(row: dict[str, Any]) -> str | None:
    if row["found_in_time_percent"] is None:
        return None
    low, high = row["found_in_time_low_percent"], row["found_in_time_high_percent"]
    return f"{row['found_in_time_percent']} ({low}–{high})"


def _listed(counts: dict[str, int]) -> str:
    return ", ".join(f"{kind} {count}" for kind, count in counts.items())
