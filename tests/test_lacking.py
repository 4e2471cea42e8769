"""What a machine lacks skips the modules that need it, and spoils no other."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from live import preflight
from tests.lacking import lacking

HERE = Path(__file__).resolve().parent


def test_where_no_window_can_open_only_modules_are_skipped(monkeypatch) -> None:
    """A test module that opens one says what it lacks; what pytest reads beside the modules, and
    cannot skip, needs no window.
    """
    monkeypatch.setattr(preflight, "missing_libraries", lambda _: ["libglib-2.0.so.0"])
    said = lacking(HERE / "live" / "views" / "window" / "test_keys.py")
    assert ("PySide6" if find_spec("PySide6") is None else "libglib-2.0") in said
    assert {str(path): lacking(path) for path in HERE.rglob("conftest.py")} == {
        str(path): "" for path in HERE.rglob("conftest.py")
    }
