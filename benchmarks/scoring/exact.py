"""Exact intervals of shares and rates, quantiles, and tables of text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from scipy import special


def percent(part: int, whole: int) -> float | None:
    """Share in percent; ``None`` of nothing."""
    return round(100 * part / whole, 1) if whole else None


def quantile(values: Sequence[float], share: float) -> float | None:
    """Of sorted values the smallest that at least this share does not exceed."""
    if not values:
        return None
    return round(values[max(math.ceil(share * len(values)) - 1, 0)], 1)


def share_interval(part: int, whole: int) -> tuple[float | None, float | None]:
    """Exact binomial interval, 95 %, in percent (Clopper and Pearson 1934)."""
    if not whole:
        return None, None
    low = special.betaincinv(part, whole - part + 1, 0.025) if part else 0.0
    high = special.betaincinv(part + 1, whole - part, 0.975) if part < whole else 1.0
    return round(100 * float(low), 1), round(100 * float(high), 1)


def per_hour(count: int, hours: float) -> float | None:
    """A rate; ``None`` without hours."""
    return round(count / hours, 3) if hours else None


def rate(count: int, hours: float) -> dict[str, Any]:
    """A rate with its exact Poisson interval, 95 % (from chi-squared, Garwood 1936)."""
    if not hours:
        return {"count": count, "per_hour": None, "low_per_hour": None, "high_per_hour": None}
    low = float(special.gammaincinv(count, 0.025)) if count else 0.0
    high = float(special.gammaincinv(count + 1, 0.975))
    return {
        "count": count,
        "per_hour": round(count / hours, 3),
        "low_per_hour": round(low / hours, 3),
        "high_per_hour": round(high / hours, 3),
    }


def rate_text(values: dict[str, Any]) -> str:
    """A rate in words, with its interval."""
    if values["per_hour"] is None:
        return "no hours"
    return f"{values['per_hour']} per hour ({values['low_per_hour']}–{values['high_per_hour']})"


def table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    """Lines of a Markdown table with even columns; ``None`` is a dash."""
    cells = [list(head)] + [["–" if cell is None else str(cell) for cell in row] for row in rows]
    widths = [max(len(row[at]) for row in cells) for at in range(len(head))]
    lines = [
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |"
        for row in cells
    ]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return lines
