"""What is handed out beside the wheel names every part by its version, and no host."""

from __future__ import annotations

import importlib.metadata
import json
import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement

from benchmarks.release import bill, constraints, parts, plain

ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_every_part_that_the_program_asks_for_is_listed_as_it_is_installed():
    """Also what these parts ask for in turn; and nothing twice, nor the program itself."""
    found = parts()
    asked = PROJECT["project"]["dependencies"]
    for extra in ("window", "files", "report"):
        asked = [*asked, *PROJECT["project"]["optional-dependencies"][extra]]
    needed = [Requirement(line) for line in asked]
    direct = {plain(r.name) for r in needed if r.marker is None or r.marker.evaluate()}
    assert direct <= set(found)
    assert "markdown-it-py" in found  # rich asks for it
    assert "sidebeat" not in found
    lines = constraints(found).splitlines()
    assert len(lines) == len(found)
    for line in lines:
        name, version = line.split("==")
        assert importlib.metadata.version(name) == version


def test_the_lists_name_no_host():
    """No address of an index or a person in either."""
    found = parts()
    for text in (constraints(found), json.dumps(bill(found))):
        assert not re.search(r"https?:|www\.|\.org\b|\.com\b", text)


def test_the_bill_gives_each_part_a_licence_and_a_name_of_its_own():
    """CycloneDX 1.5: what a checker of such files asks for."""
    made = bill(parts())
    assert (made["bomFormat"], made["specVersion"]) == ("CycloneDX", "1.5")
    components = made["components"]
    assert len({one["bom-ref"] for one in components}) == len(components)
    stated = [one["licenses"][0]["license"]["name"] for one in components]
    assert all(stated)
    assert stated.count("not stated") <= len(stated) // 4


def test_the_wheel_carries_every_package_and_the_demo():
    """The three packages, each marked as typed, and the recordings that the demo plays."""
    target = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert target["packages"] == ["live", "analysis", "replay"]
    assert all((ROOT / package / "py.typed").is_file() for package in target["packages"])
    carried = set(target["force-include"])
    assert carried == {"recordings_demo"}
    assert list((ROOT / "recordings_demo").glob("*.sqlite"))
