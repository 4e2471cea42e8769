"""What is dear to make and only looked at: made once for all processes of a run of the suite."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Final

FOLDER_VARIABLE: Final = "SIDEBEAT_TEST_SHARED_DIR"
"""Environment variable with the folder that the processes of one run of the suite share; set by
``tests/conftest.py``, which removes it at the end."""


def is_shared() -> bool:
    """Whether processes run tests beside this one.  One that runs them alone keeps nothing for its
    forks, which may have other code, with a fault in it.
    """
    return "PYTEST_XDIST_WORKER" in os.environ


def made_once(name: str, make: Callable[[], bytes]) -> bytes:
    """What ``make`` gave to whoever asked first for this name; others wait for it meanwhile.

    ``name``: with the module that asks in front, so that no two mean different things.
    """
    if not is_shared():
        return make()
    import fcntl

    place = Path(os.environ[FOLDER_VARIABLE]) / name
    with Path(f"{place}.lock").open("w") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        if not place.exists():
            # Under its name only once it is whole: whoever makes it may be killed at a time limit.
            unfinished = Path(f"{place}.unfinished")
            unfinished.write_bytes(make())
            unfinished.rename(place)
        return place.read_bytes()
