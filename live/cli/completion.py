"""``sidebeat completion``: what a shell needs to complete commands, options and files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Final

HELP: Final = (
    "Print a script with which a shell completes Sidebeat's commands, options and file names."
)
EXAMPLE: Final = """
sidebeat completion bash > ~/.local/share/bash-completion/completions/sidebeat
sidebeat completion zsh > ~/.zfunc/_sidebeat
sidebeat completion fish > ~/.config/fish/completions/sidebeat.fish
"""
SHELLS: Final = ("bash", "zsh", "fish", "tcsh", "powershell")
_FOLDERS: Final = frozenset({"DIR", "FOLDER"})


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("shell", choices=SHELLS, help="for which shell")


def run(arguments: argparse.Namespace) -> int:
    """Print the script."""
    import shtab  # noqa: PLC0415 - with this command

    print(shtab.complete(whole_parser(), arguments.shell))
    return 0


def whole_parser() -> argparse.ArgumentParser:
    """One parser with every command below it, as a shell sees the program; paths are marked."""
    import shtab  # noqa: PLC0415 - as above

    from live.cli.main import COMMANDS, command_parser  # noqa: PLC0415 - it imports the commands

    whole = argparse.ArgumentParser(prog="sidebeat")
    whole.add_argument("--version", action="store_true", help="the version")
    commands = whole.add_subparsers(metavar="COMMAND")
    for name, what in COMMANDS.items():
        # Each with its own parser as its parent: the options are listed once, where they are.
        own = command_parser(name)
        for action in own._actions:  # noqa: SLF001 - argparse shows its options in no other way
            if action.type is Path:
                kind = shtab.DIRECTORY if str(action.metavar) in _FOLDERS else shtab.FILE
                action.complete = kind  # type: ignore[attr-defined]
        commands.add_parser(name, help=what, parents=[own], add_help=False)
    return whole
