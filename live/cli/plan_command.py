"""The tester's word before a command that stands in a plan is run for the first time."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence

from live.cli.output import json_line, say
from live.setup.agreed_commands import agree, is_agreed
from replay.text import is_printable


def may_run(command: Sequence[str]) -> bool:
    """Whether a plan's command may be run: agreed to before, or now.

    Where nobody can be asked it is not run, and said so with what to do.
    """
    if not command or is_agreed(command):
        return True
    from live.cli.import_dialog import ask_choice, can_ask  # noqa: PLC0415 - numpy behind it

    shown = _unambiguous(command)
    if can_ask():
        say(f"The plan wants to run this program for each warning:\n  {shown}", file=sys.stderr)
        if ask_choice("Run it, now and in future (yes, no)", ("yes", "no")) == "yes":
            agree(command)
            return True
        return False
    say(
        f"sidebeat: the plan's command is not run, because nobody has agreed to it yet: {shown}  "
        "Start it once in a terminal, which asks; or give it with --on-warning.",
        file=sys.stderr,
    )
    return False


def _unambiguous(command: Sequence[str]) -> str:
    """As a shell takes it; one with signs that cannot be seen as JSON, where each has its escape.

    A line end of its own could write the rest of the question.
    """
    typed = shlex.join(command)
    return typed if is_printable(typed) else json_line(list(command))
