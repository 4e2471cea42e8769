"""Hostile and damaged input, seeded, for everything that reads what it did not write.

``python -m benchmarks.fuzz`` (``make fuzz``) draws inputs for each target for ``--seconds`` (or
``--examples``), and stops at the first that raises anything but one of our sentences, takes more
than 2 s of CPU, or is read as what it is not.  The example is named by target, seed and number:
``--seed S --only N TARGET`` runs it again.
"""

from __future__ import annotations

import argparse
import logging
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from benchmarks.fuzz.runs import TARGETS, Asked


def main() -> int:
    """Run the targets, as many at once as there are processors; status 1 if one found something."""
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
    asked = Asked(arguments.seconds, arguments.examples, arguments.seed, arguments.only)
    findings = 0
    # Each in a new process: what one target leaves behind is no input of the next.
    with ProcessPoolExecutor(
        mp_context=get_context("spawn"),
        max_tasks_per_child=1,
        initializer=logging.disable,  # of the program's own words about what it refuses
        initargs=(logging.CRITICAL,),
    ) as pool:
        running = [pool.submit(asked.told_of, name) for name in arguments.targets or TARGETS]
        for one in running:
            is_finding, said = one.result()
            findings += is_finding
            print(said, flush=True)
    return 1 if findings else 0


if __name__ == "__main__":
    raise SystemExit(main())
