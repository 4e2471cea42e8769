"""What a parser of the command line knows: argparse has no public way to ask."""

from __future__ import annotations

import argparse


def actions_of(parser: argparse.ArgumentParser) -> list[argparse.Action]:
    """Its options and arguments, in the order in which they were added."""
    return list(parser._actions)  # noqa: SLF001 - the only place that holds them
