"""One target after another, example by example: what is asked of each, and what is told of it."""

from __future__ import annotations

import random
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass

from benchmarks.fuzz.file_targets import capture, capture_log, imports
from benchmarks.fuzz.targets import frame, payload, plan, text
from benchmarks.fuzz.wire_target import mqtt

TARGETS: dict[str, Callable[[random.Random], None]] = {
    "payloads": payload,
    "frames": frame,
    "plan": plan,
    "capture": capture,
    "logs": capture_log,
    "imports": imports,
    "mqtt": mqtt,
    "text": text,
}
LONGEST_S = 2.0
"""Of CPU for one input, so that a busy machine finds nothing that is not there.  The broker of
``mqtt`` is waited for, with a bound of its own."""


def one(name: str, seed: int, number: int) -> None:
    """One example.  Raises what it finds."""
    began = time.process_time()
    TARGETS[name](random.Random(f"{name} {seed} {number}"))
    took = time.process_time() - began
    if took > LONGEST_S and name != "mqtt":
        raise AssertionError(f"one input took {took:.1f} s")


def many(name: str, seed: int, *, seconds: float = 0.0, examples: int = 0) -> int:
    """So many examples, or for so long; how many there were.  Raises with the number of one."""
    until = time.monotonic() + seconds
    number = 0
    while number < examples if examples else time.monotonic() < until:
        try:
            one(name, seed, number)
        except Exception as error:
            raise AssertionError(f"{name}, seed {seed}, example {number}: {error!r}") from error
        number += 1
    return number


@dataclass(frozen=True)
class Asked:
    """How far each target is gone through; ``only``: this example alone, with its traceback."""

    seconds: float = 60.0
    examples: int = 0
    seed: int = 1
    only: int | None = None

    def told_of(self, name: str) -> tuple[bool, str]:
        """Go through one target; whether it found something, and what to print."""
        try:
            if self.only is not None:
                one(name, self.seed, self.only)
                count = 1
            else:
                count = many(name, self.seed, seconds=self.seconds, examples=self.examples)
        except Exception:
            return True, traceback.format_exc()
        return False, f"{name}: {count:,} examples, nothing found"
