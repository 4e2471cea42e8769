"""What is printed when a session is over: the agreement table and every warning."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from analysis.report.words import clock
from live.protocol.view_model import ViewModel, late_words, rules_off
from live.views.terminal.console import PlainConsole
from live.views.terminal.screen import INVENTED, spaced
from live.views.terminal.tables import Halt, agreement_table, sensor_table
from live.views.terminal.warning_lines import alarm_lines, warning_text
from replay.event import NS_PER_S


def print_summary(model: ViewModel, console: Console | None = None) -> None:
    """Print sensors, agreement and warnings as they stand; for pipes as well as terminals."""
    console = console or PlainConsole()
    snapshot = model.snapshot()
    plan = model.plan
    width = console.width
    plain = not console.encoding.lower().startswith("utf")
    head = f"{model.feed.title}: {plan.wearer}, {plan.activity}, {clock(snapshot.t_ns / NS_PER_S)}"
    console.print(Text(head, style="bold"), soft_wrap=True)
    if plan.invented:
        console.print(Text(INVENTED, style="bold"), soft_wrap=True)
    halt = Halt(model.halted, model.is_stale)
    console.print(spaced(sensor_table(snapshot, plan, width, plain=plain, halt=halt)))
    tests = [sensor for sensor in snapshot.sensors if sensor.windows]
    if tests:
        out_s = snapshot.left_out_s
        table = agreement_table(tests, plan, width, plain=plain, left_out_s=out_s)
        console.print(spaced(table))
    console.print()
    if off := rules_off(snapshot):
        console.print(Text(off), soft_wrap=True)
    if late := late_words(model.board.late):
        console.print(Text(late), soft_wrap=True)
    if model.alarm is not None:
        for line in alarm_lines(model.alarm, width, is_known=model.alarm_is_known):
            console.print(line)
    elif model.ended is not None and model.feed.is_live:
        console.print(Text(f"Ended: {model.ended.reason}."), soft_wrap=True)
    if not model.board.warnings:
        console.print("No warning was raised.")
        return
    console.print(Text(f"Warnings ({len(model.board.warnings)})", style="bold"))
    for warning in model.board.warnings:
        console.print(warning_text(warning, snapshot))
