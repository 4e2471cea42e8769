"""What is said of a file whose reading takes long, and where it is ended from the keyboard."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from live.cli.output import say

AFTER_S: Final = 2.0


@contextmanager
def patiently(path: Path, *, tell: bool = True) -> Iterator[None]:
    """Say once, after :data:`AFTER_S`, that ``path`` is still being read, where anybody watches.

    Only on a terminal: a script waits anyhow.  An interrupt is told in a sentence, and goes on.
    ``tell``: false where something else shows how far it is.
    """
    size = 0.0
    with suppress(OSError):
        size = path.stat().st_size / 1e6

    def said() -> None:
        with suppress(OSError, ValueError):
            say(
                f"sidebeat: {path} has {size:,.0f} MB and is still being read; Ctrl-C ends it",
                file=sys.stderr,
            )

    timer = threading.Timer(AFTER_S, said)
    timer.daemon = True
    if tell and sys.stderr.isatty():
        timer.start()
    try:
        yield
    except KeyboardInterrupt:
        with suppress(OSError):
            say(f"sidebeat: ended before all of {path} was read; it is as it was", file=sys.stderr)
        raise
    finally:
        timer.cancel()
        if timer.ident is not None:
            timer.join()
