"""The command ``sidebeat``, and ``python -m live``, which also runs before any installation.

Only the standard library is imported until it is known that the rest is there.
"""

from __future__ import annotations

import os
import sys

from live import preflight

BLAS_THREADS = "OPENBLAS_NUM_THREADS"
"""Environment variable of the linear algebra that numpy's wheels bring, read when it is loaded."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit status (2 if something is missing)."""
    if not preflight.ready():
        print(preflight.report(), file=sys.stderr)
        return 2
    # The matrices here are small: a second thread waits for them busily, and costs a fifth more.
    os.environ.setdefault(BLAS_THREADS, "1")
    from live.cli.main import run  # noqa: PLC0415 - it needs what was just looked for

    return run(sys.argv[1:] if arguments is None else arguments)


if __name__ == "__main__":
    sys.exit(main())
