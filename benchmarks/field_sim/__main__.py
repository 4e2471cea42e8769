"""Prints the generator's tables beside what was measured of recordings."""

from __future__ import annotations

import argparse

from benchmarks.field_sim.tables import text


def main(arguments: list[str] | None = None) -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.field_sim", description=__doc__)
    parser.add_argument("--tables", action="store_true", help="print the tables (the default)")
    parser.add_argument("--seed", type=int, default=1, help="of the first wearer")
    parser.add_argument("--wearers", type=int, default=48, help="hearts in the first table")
    parser.add_argument("--sessions", type=int, default=12, help="per row of the other tables")
    options = parser.parse_args(arguments)
    if options.seed < 0 or options.wearers < 1 or options.sessions < 2:
        parser.error("--seed must not be negative, --wearers at least 1, --sessions at least 2")
    print(text(options.seed, options.wearers, options.sessions))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
