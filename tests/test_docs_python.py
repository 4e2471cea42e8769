"""The examples of docs/python.md and of the notebook run, and are the same."""

from __future__ import annotations

import json
import re
from pathlib import Path

import matplotlib as mpl
import pytest

ROOT = Path(__file__).resolve().parent.parent
GUIDE = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")


def blocks():
    return re.findall(r"^```python\n(.*?)^```", GUIDE, re.MULTILINE | re.DOTALL)


def cells():
    notebook = json.loads((ROOT / "docs" / "study.ipynb").read_text(encoding="utf-8"))
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


@pytest.fixture
def somewhere(tmp_path, monkeypatch):
    """A place of their own for what the examples write, with the recordings in it."""
    mpl.use("Agg")
    from matplotlib import pyplot as plt

    folder = tmp_path / "recordings_demo"
    folder.mkdir()
    # One session is enough to run every line; the tests of the demo read them all.
    name = "2026-03-18_0655_stair-climb-with-a-pack_W3.sqlite"
    (folder / name).write_bytes((ROOT / "recordings_demo" / name).read_bytes())
    monkeypatch.chdir(tmp_path)
    yield tmp_path
    plt.close("all")


def test_the_examples_run(somewhere, capsys):
    """Every block of the guide runs after the ones before it, and says what it should."""
    names = {}
    for block in blocks():
        exec(compile(block, "docs/python.md", "exec"), names)  # noqa: S102 - it is ours
    told = capsys.readouterr().out
    assert "stair climb with a pack" in told
    assert (somewhere / "stairs.png").stat().st_size > 5_000
    assert {len(names["tables"][name]) for name in ("sensors", "sessions")} == {3}


def test_the_notebook_is_the_guide():
    """The notebook has the code of the guide, cell by cell, and no output of anybody's machine."""
    assert ["".join(cell["source"]) for cell in cells()] == [block[:-1] for block in blocks()]
    assert all(cell["outputs"] == [] for cell in cells())
