"""The tables of docs/reliability.md: made of outcomes, and put into the file row by row."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from benchmarks.radio_sim.provoked import SINGLE, Outcome

FIGURES_BELOW = "<!-- figures: what follows is written by the command -->"
FAULTS = "Faults"
SECOND = "Faults over a second service"
DROPS = "A sensor that breaks its link every 8 s"
LATENESS = "Lateness of stamps"
_OUTCOMES = [
    "fault", "runs", "sent over standing links", "lost", "lost within 2 s of being back",
    "doubled", "recovery, median", "recovery, worst", "load per core",
]  # fmt: skip
COLUMNS = {
    FAULTS: _OUTCOMES,
    SECOND: _OUTCOMES,
    DROPS: ["beside it", "notifications, one a second", "seconds", "load per core"],
    LATENESS: [
        "condition, stamped by", "notifications", "median", "p99", "worst", "load per core",
    ],
}  # fmt: skip
"""The columns of each table, in the order of the file; the first one names the row."""

Sections = dict[str, dict[str, list[str]]]
"""The cells behind the first one, by the row's name, by the heading of the table."""


def figures(outcomes: list[Outcome]) -> list[dict[str, object]]:
    """One row for each fault and service: runs, notifications, recovery in s, load."""
    by_fault: dict[tuple[bool, str], list[Outcome]] = {}
    for outcome in outcomes:
        by_fault.setdefault((outcome.mocked, outcome.fault), []).append(outcome)
    rows: list[dict[str, object]] = []
    for (mocked, fault), runs in by_fault.items():
        back = [s for run in runs for s in run.recovery_s]
        rows.append(
            {
                "fault": fault,
                "second_service": mocked,
                "runs": len(runs),
                "sent": sum(run.sent for run in runs),
                "lost": sum(run.lost for run in runs),
                "lost_at_once": sum(run.lost_at_once for run in runs),
                "doubled": sum(run.doubled for run in runs),
                "recovery_median_s": round(float(np.median(back)), 1) if back else None,
                "recovery_worst_s": round(max(back), 1) if back else None,
                "load_per_core": round(float(np.mean([run.load for run in runs])), 1),
            }
        )
    return rows


def sections(
    outcomes: list[Outcome],
    drops: list[tuple[int, int, int]],
    late: dict[str, dict[str, np.ndarray]],
) -> Sections:
    """All rows that were measured."""
    load = f"{os.getloadavg()[0] / (os.cpu_count() or 1):.1f}"
    found: Sections = {heading: {} for heading in COLUMNS}
    for row in figures(outcomes):
        fault, second, *cells, median, worst, busy = row.values()
        heading = SECOND if second else FAULTS
        found[heading][str(fault)] = [*map(str, cells), f"{median} s", f"{worst} s", str(busy)]
    for others, arrived, seconds in drops:
        beside = f"{others} that are away" if others else "nobody"
        found[DROPS][beside] = [str(arrived), str(seconds), load]
    for condition, by_whom in late.items():
        for whom, ms in by_whom.items():
            found[LATENESS][f"{condition}, {whom}"] = [
                str(len(ms)),
                f"{np.median(ms):.1f} ms",
                f"{np.percentile(ms, 99):.1f} ms",
                f"{ms.max():.1f} ms",
                load,
            ]
    return found


def as_markdown(found: Sections) -> str:
    """The tables that have rows; single faults in their order, then storms by size."""
    order = {fault: place for place, fault in enumerate(SINGLE)}

    def place(name: str) -> tuple[int, int, str]:
        words = name.split()
        size = int(words[1]) if words[0] == "storm," else 0
        return order.get(name, len(order)), size, name

    lines: list[str] = []
    for heading, columns in COLUMNS.items():
        rows = found.get(heading)
        if not rows:
            continue
        lines += [f"## {heading}", "", _line(columns), "|---|" + "---:|" * (len(columns) - 1)]
        in_order = sorted(rows, key=place) if heading in (FAULTS, SECOND) else list(rows)
        lines += [_line([name, *rows[name]]) for name in in_order]
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def read(text: str) -> Sections:
    """The rows of what :func:`as_markdown` wrote."""
    found: Sections = {}
    heading = ""
    for line in text.splitlines():
        if line.startswith("## "):
            heading = line[3:]
        elif line.startswith("| ") and heading in COLUMNS:
            name, *cells = (cell.strip() for cell in line.strip("|").split("|"))
            if name != COLUMNS[heading][0] and len(cells) == len(COLUMNS[heading]) - 1:
                found.setdefault(heading, {})[name] = cells
    return found


def write(path: Path, measured: Sections) -> None:
    """Put the rows into the tables of this file: a row of the same name is replaced."""
    head, merged = f"# Reliability over Bluetooth\n\n{FIGURES_BELOW}", {}
    if path.exists():
        kept, mark, below = path.read_text(encoding="utf-8").partition(FIGURES_BELOW)
        if not mark:
            raise SystemExit(f"{path}: the line '{FIGURES_BELOW}' is missing; nothing written")
        head, merged = kept + mark, read(below)
    for heading, rows in measured.items():
        merged.setdefault(heading, {}).update(rows)
    path.write_text(f"{head}\n\n{as_markdown(merged)}", encoding="utf-8")


def _line(cells: list[str]) -> str:
    return f"| {' | '.join(cells)} |"
