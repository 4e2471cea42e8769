"""Why a warning was raised at a second, and what stood there: the rule's values and thresholds."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from analysis.board.snapshot import Measure, SensorWarning
from live.views.window.parts.number_format import clock
from live.views.window.parts.words import stretch, who
from replay.plan import Plan


def at_second(
    warnings: Sequence[SensorWarning], second: int
) -> tuple[list[SensorWarning], list[SensorWarning], list[SensorWarning]]:
    """Those raised, those cleared and those that merely stood at a grid second."""
    raised = [w for w in warnings if w.start_s == second]
    cleared = [w for w in warnings if w.end_s == second]
    standing = [w for w in warnings if w.start_s < second and (w.end_s is None or w.end_s > second)]
    return raised, cleared, standing


def measure_words(measure: Measure) -> tuple[str, str, str]:
    """Name, value with unit, threshold with unit (empty if it has none)."""
    unit = f" {measure.unit}" if measure.unit else ""
    value = f"{measure.value:.4g}{unit}".replace("-", "−")
    limit = "" if measure.threshold is None else f"{measure.threshold:.4g}{unit}"
    return measure.name, value, limit.replace("-", "−")


def why_html(plan: Plan, warnings: Sequence[SensorWarning], second: int) -> str:
    """The whole as rich text."""
    raised, cleared, standing = at_second(warnings, second)
    parts = [f"<b>Warnings at second {second} ({clock(second)})</b>"]
    for word, found in (("raised here", raised), ("stands", standing)):
        for warning in found:
            parts.append(_block(plan, warning, word))
    for warning in cleared:
        head = f"{warning.kind}: {who(plan, warning.sensor)}"
        parts.append(f"<b>cleared here: {escape(head)}</b><br>{escape(warning.cleared)}")
    if len(parts) == 1:
        parts.append("None was raised, none stands.")
    return "<br>".join(parts)


def _block(plan: Plan, warning: SensorWarning, word: str) -> str:
    head = f"{word}: {warning.kind}: {who(plan, warning.sensor)}, {stretch(warning)}"
    rows = "".join(
        "<tr>"
        + "".join(f"<td>{escape(cell)}&nbsp;&nbsp;</td>" for cell in measure_words(m))
        + "</tr>"
        for m in warning.measures
    )
    table = (
        f"<table><tr><td><i>looked at</i></td><td><i>value</i></td><td><i>threshold</i></td></tr>"
        f"{rows}</table>"
        if rows
        else "<br>"
    )
    return f"<b>{escape(head)}</b><br>{escape(warning.cause)}{table}"
