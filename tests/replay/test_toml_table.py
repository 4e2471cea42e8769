"""Whatever a TOML text is, it is read or refused in words, at the one place that reads it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analysis.study.manifest import load_manifest
from analysis.study.published import load_published
from analysis.study.study_plan import load_study_plan
from live.cli.import_sections import sections_from
from live.cli.import_sources import sidecar_options
from live.setup.known_sensors import KnownSensorsError, load_known_sensors
from live.views.window.parts.preferences import Preferences, load_preferences
from replay.errors import SidebeatError
from replay.files_only import LONGEST_TEXT
from replay.plan import load_plan
from replay.toml_table import TomlError, parse_toml

ROOT = Path(__file__).resolve().parents[2]
OF_NO_USE = {
    "lists": f"x = {'[' * 3000}{']' * 3000}",
    "tables": f"x = {'{a=' * 600}1{'}' * 600}",
    "more digits than Python takes": f"x = {'9' * 5000}",
    "more digits than a number has": f"offset_s = {'9' * 400}",
    "in a list of tables": f"[[a]]\nb = [{{c = {'9' * 400}}}]",
    "a day that is none": "x = 2026-02-30",
}


@pytest.mark.parametrize("text", OF_NO_USE.values(), ids=OF_NO_USE)
def test_what_is_of_no_use_is_said(text: str) -> None:
    """No error of another kind comes out of a text."""
    with pytest.raises(TomlError, match=r"^is (nested too deeply|not valid TOML)|^holds a number"):
        parse_toml(text)


def test_the_largest_numbers_of_toml_are_read() -> None:
    """64 bits, of either sign."""
    assert parse_toml("a = 9223372036854775807\nb = [-9223372036854775807]") == {
        "a": 2**63 - 1,
        "b": [1 - 2**63],
    }


@pytest.mark.parametrize("text", OF_NO_USE.values(), ids=OF_NO_USE)
def test_every_file_that_people_write_is_refused_in_a_sentence(tmp_path, text) -> None:
    """A plan, a study's plan, a manifest, others' figures, sections, and what is true of a file."""
    path = tmp_path / "a.toml"
    path.write_text(text)
    for read in (
        load_plan, load_study_plan, load_manifest, load_published, sidecar_options_of,
        lambda path: sections_from(path, 10**9),
    ):  # fmt: skip
        with pytest.raises(SidebeatError, match=r"a\.toml|^plan: file: (is|holds) "):
            read(path)
    with pytest.raises(KnownSensorsError):
        load_known_sensors(path)
    assert load_preferences(path) == Preferences()


def sidecar_options_of(path: Path) -> object:
    return sidecar_options(path.with_suffix(""))


def test_a_file_of_gigabytes_is_not_read(tmp_path: Path) -> None:
    """It takes no place on a disk if nothing is in it."""
    path = tmp_path / "a.toml"
    with path.open("wb") as file:
        file.truncate(LONGEST_TEXT + 1)
    for read in (load_plan, load_study_plan, load_manifest, load_published):
        with pytest.raises(SidebeatError, match="more than 4 MB"):
            read(path)


def test_nobody_else_parses_toml() -> None:
    """Each of them would have to think of all that a text may be."""
    parsing = re.compile(r"\btomllib\.loads?\(")
    parts = (ROOT / "replay", ROOT / "analysis", ROOT / "live")
    sources = [path for part in parts for path in part.rglob("*.py")]
    found = [path for path in sources if parsing.search(path.read_text(encoding="utf-8"))]
    assert found == [ROOT / "replay/toml_table.py"]
