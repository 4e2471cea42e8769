"""Where a record comes from: the recording, and the version of what computed it."""

from __future__ import annotations

import hashlib
import importlib.metadata
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from analysis.session.record import FORMAT, Provenance
from replay.errors import CaptureError
from replay.files_only import open_file

if TYPE_CHECKING:
    from replay.capture import Capture

ROOT: Final = Path(__file__).resolve().parent.parent.parent
"""Where :data:`SOURCES` lie."""
SOURCES: Final = ("analysis/statistics", "analysis/board", "analysis/session", "replay")
"""What a number can depend on.  Words, tables and figures are not among it."""


def provenance_of(capture: Capture) -> Provenance:
    """Of a record that is made of an open capture, now and by this program."""
    return Provenance(
        uuid=capture.uuid,
        started_utc_ns=capture.started_utc_ns,
        clean=capture.clean,
        whole=capture.wholeness.is_whole,
        wholeness=capture.wholeness.sentences(),
        recorded_with=capture.software,
        notes=len(capture.notes()),
        program=program_version(),
        computation=computation_version(),
    )


def program_version() -> str:
    """The installed version, or the word for a tree that was never installed."""
    return _version("sidebeat")


@cache
def computation_version() -> str:
    """Digest of what the numbers depend on in this program: 16 hexadecimal digits.

    Taken from the source text itself and from the versions of Python, numpy and scipy, because a
    number that somebody has to count up is forgotten on the day on which it matters.
    """
    digest = hashlib.sha256(f"{FORMAT} {sys.version_info[:2]}".encode())
    for package in ("numpy", "scipy", "sidebeat"):
        digest.update(_version(package).encode())
    for folder in SOURCES:
        for path in sorted((ROOT / folder).rglob("*.py")):
            digest.update(path.relative_to(ROOT).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def file_sha256(path: Path) -> str:
    """Checksum of a file as 64 hex digits.  Raises :class:`CaptureError` if it is unreadable."""
    try:
        with open_file(path) as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise CaptureError(f"{path}: cannot be read: {error.strerror}") from None


def _version(package: str) -> str:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return "not installed"
