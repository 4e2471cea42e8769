"""Where a record comes from, and which changes make another version of its numbers."""

from __future__ import annotations

import hashlib
import importlib.metadata
import sys
from pathlib import Path

import pytest

from analysis.session.provenance import (
    computation_version,
    file_sha256,
    program_version,
    provenance_of,
)
from replay.capture import Capture
from replay.errors import CaptureError
from tests.standins.feeds import two_sensors, written


@pytest.fixture(autouse=True)
def _anew():
    computation_version.cache_clear()
    yield
    computation_version.cache_clear()


def test_a_record_says_what_it_was_made_of(tmp_path: Path) -> None:
    """The recording as it stands, its notes counted, and the program."""
    path = written(tmp_path / "c.sqlite", two_sensors(10))
    with Capture.open(path) as capture:
        made = provenance_of(capture)
        assert (made.uuid, made.started_utc_ns) == (capture.uuid, capture.started_utc_ns)
        assert (made.clean, made.whole, made.notes) == (False, True, 0)
        assert made.wholeness == capture.wholeness.sentences() != ()
    assert made.recorded_with == "test"
    assert made.program == program_version() == importlib.metadata.version("sidebeat")
    assert made.computation == computation_version()


def test_the_version_of_the_numbers_is_sixteen_digits_of_python_and_its_libraries(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Another minor version of Python or another numpy may compute otherwise, a patch does not."""

    def with_python(*version: int) -> str:
        monkeypatch.setattr(sys, "version_info", version)
        computation_version.cache_clear()
        return computation_version()

    before = with_python(3, 12, 1)
    assert len(bytes.fromhex(before)) == 8
    assert with_python(3, 12, 4) == before
    assert with_python(3, 13, 1) != before
    monkeypatch.setattr(importlib.metadata, "version", lambda _: "another")
    assert with_python(3, 12, 1) != before


def test_what_is_not_installed_has_a_version_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tree that is only copied runs too."""

    def missing(package: str) -> str:
        raise importlib.metadata.PackageNotFoundError(package)

    monkeypatch.setattr(importlib.metadata, "version", missing)
    assert program_version() == "not installed"
    assert len(computation_version()) == 16


def test_a_checksum_is_that_of_the_bytes(tmp_path: Path) -> None:
    """A file that is not there is one sentence."""
    path = tmp_path / "c"
    path.write_bytes(b"abc")
    assert file_sha256(path) == hashlib.sha256(b"abc").hexdigest()
    with pytest.raises(CaptureError, match="d: cannot be read: No such file"):
        file_sha256(tmp_path / "d")
