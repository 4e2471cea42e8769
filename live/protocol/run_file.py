"""Run files: how a view finds a running capture and shows that it may attach.

A running capture listens on a free port of the loopback interface.  Port and a random token
stand in a small file that only its user can read (mode 0600 in a folder of mode 0700; on
Windows the folder lies in the user's own profile, which other users cannot read).  Loopback
TCP is used because it is the one local pipe that works alike on Linux, macOS and Windows.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import socket
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

from replay.errors import SidebeatError
from replay.files_only import read_text, user_home

RUN_FOLDER_VARIABLE = "SIDEBEAT_RUN_DIR"
"""Environment variable that names another folder for run files."""


class NoCapture(SidebeatError):
    """There is no running capture to attach to, or it is not clear which one is meant."""


@dataclass(frozen=True, slots=True)
class RunFile:
    """What a view must know.  ``capture``: path of the capture file, empty for practice."""

    port: int
    token: str
    pid: int
    title: str
    capture: str


def run_folder() -> Path:
    """The folder of this user's run files; made if need be.  Raises :class:`NoCapture`."""
    if named := os.environ.get(RUN_FOLDER_VARIABLE):
        folder = Path(named)
    elif sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(user_home() / "AppData" / "Local")
        folder = Path(base) / "Sidebeat" / "run"
    elif runtime := os.environ.get("XDG_RUNTIME_DIR"):
        folder = Path(runtime) / "sidebeat"
    else:
        folder = user_home() / ".cache" / "sidebeat" / "run"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise NoCapture(
            f"the folder of running captures, {folder}, cannot be made ({error.strerror}); name "
            f"another in the environment variable {RUN_FOLDER_VARIABLE}"
        ) from None
    return folder


def write_run_file(port: int, title: str, capture: str) -> tuple[Path, RunFile]:
    """Write a run file for this process, and sweep away those of captures that are gone."""
    folder = run_folder()
    for old in folder.glob("*.json"):
        if not _is_alive(old):
            old.unlink(missing_ok=True)
    content = RunFile(port, secrets.token_urlsafe(32), os.getpid(), title, capture)
    path = folder / f"{os.getpid()}-{port}.json"
    # Created with its final mode: there is no moment in which others could open it.
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(asdict(content), file)
    return path, content


def rewrite_run_file(path: Path, content: RunFile) -> None:
    """Exchange what a run file says, in one step and under the same protection."""
    fresh = path.with_suffix(".new")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(asdict(content), file)
    fresh.replace(path)


def read_run_file(path: Path) -> RunFile:
    """Read one run file.  Raises :class:`NoCapture` in one sentence."""
    try:
        return RunFile(**json.loads(read_text(path)))
    except FileNotFoundError:
        raise NoCapture(f"there is no run file {path}; the capture has ended") from None
    except (OSError, ValueError, TypeError, RecursionError):
        raise NoCapture(f"{path} is not a run file of a capture") from None


def find_capture() -> Path:
    """The run file of the one capture that is running.

    Raises :class:`NoCapture` if none is, or if several are.
    """
    alive = [path for path in sorted(run_folder().glob("*.json")) if _is_alive(path)]
    if not alive:
        raise NoCapture("no capture is running for this user; start one with 'sidebeat live'")
    if len(alive) > 1:
        listed = ", ".join(f"{path} ({read_run_file(path).title})" for path in alive)
        raise NoCapture(f"several captures are running; name one after --attach: {listed}")
    return alive[0]


def _is_alive(path: Path) -> bool:
    """Whether somebody listens where the run file says; process numbers are reused."""
    with contextlib.suppress(OSError, NoCapture):
        port = read_run_file(path).port
        with socket.create_connection(("127.0.0.1", port), timeout=1):
            return True
    return False
