"""Hostile and damaged input, seeded, for everything that reads what it did not write.

``python -m benchmarks.fuzz`` (``make fuzz``) draws inputs for each target for ``--seconds`` (or
``--examples``), and stops at the first that raises anything but one of our sentences, takes more
than 2 s of CPU, or is read as what it is not.  The example is named by target, seed and number:
``--seed S --only N TARGET`` runs it again.
"""

from __future__ import annotations

import argparse
import logging
import random
import time
import traceback
from collections.abc import Callable

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


def main() -> int:
    """Run the targets one after another; status 1 if one of them found something."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=", ".join(TARGETS))
    parser.add_argument("--seconds", type=float, default=60.0, help="for each target")
    parser.add_argument("--examples", type=int, default=0, help="of each target, instead")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="this example alone, with its traceback")
    arguments = parser.parse_args()
    unknown = set(arguments.targets) - set(TARGETS)
    if unknown:
        parser.error(f"there is no target {', '.join(sorted(unknown))}")
    logging.disable(logging.CRITICAL)
    found = 0
    for name in arguments.targets or TARGETS:
        try:
            if arguments.only is not None:
                one(name, arguments.seed, arguments.only)
                count = 1
            else:
                count = many(
                    name, arguments.seed, seconds=arguments.seconds, examples=arguments.examples
                )
        except Exception:
            found += 1
            traceback.print_exc()
        else:
            print(f"{name}: {count:,} examples, nothing found", flush=True)
    return 1 if found else 0


if __name__ == "__main__":
    raise SystemExit(main())
