"""Rules of the bundled recordings."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from live.simulated import KINDS
from live.simulated.study_recipe import NEW, OLD, STUDY
from live.sources.simulated import SimulatedSource
from replay import demo_files
from replay.capture import Capture
from replay.demo_files import demo_captures, demo_folder, practice_plan
from replay.errors import CaptureError
from replay.plan import load_plan


def _recipes() -> ModuleType:
    spec = importlib.util.spec_from_file_location("demo_make", demo_folder() / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


MAKE = _recipes()
SHORTEST = min(MAKE.RECIPES, key=lambda recipe: recipe.duration_s)


@pytest.mark.parametrize("recipe", MAKE.RECIPES, ids=lambda recipe: recipe.name)
def test_recordings_are_what_the_recipe_makes(recipe, tmp_path: Path):
    """A bundled capture holds, event by event, what its recipe makes today."""
    with (
        Capture.open(recipe.write(tmp_path)) as made,
        Capture.open(demo_folder() / recipe.name) as bundled,
    ):
        events = list(bundled.events())
        assert events == list(made.events())
        if recipe is SHORTEST:  # drawn a second time, they are the same
            assert events == list(recipe.events())
        assert bundled.plan == made.plan == recipe.plan
        assert bundled.started_utc_ns == made.started_utc_ns == recipe.started_utc_ns
        assert (bundled.end_t_ns, bundled.end_reason) == (made.end_t_ns, made.end_reason)


def test_recordings_are_small_clean_and_marked_as_invented():
    """There are three, 12 to 25 min long, closed cleanly, under 1 MB together, and invented."""
    captures = demo_captures()
    assert [path.name for path in captures] == sorted(recipe.name for recipe in MAKE.RECIPES)
    assert sum(path.stat().st_size for path in captures) < 1_000_000
    for path in captures:
        with Capture.open(path) as capture:
            assert capture.plan.invented
            assert capture.clean
            assert 12 * 60 <= capture.duration_ns / 1e9 <= 25 * 60


def test_the_study_is_the_one_that_is_described():
    """Twelve sessions of three wearers, two firmwares, swapped arms with the new one alone."""
    assert len({recipe.name for recipe in STUDY}) == len(STUDY) == 12
    assert {recipe.wearer for recipe in STUDY} == {"W1", "W2", "W3"}
    sides = {OLD: set(), NEW: set()}
    for recipe in STUDY:
        plan = recipe.plan
        assert plan.invented
        sorrel = plan.sensor(plan.number("Sorrel"))
        sides[sorrel.firmware].add(sorrel.placement)
    assert sides == {OLD: {"left wrist"}, NEW: {"left wrist", "right wrist"}}
    assert sum(bool(recipe.troubles["Tansy"]) for recipe in STUDY) == 3


def test_practice_plan_can_be_played():
    """The practice plan is valid, marked as invented, and names kinds that exist."""
    plan = load_plan(practice_plan())
    assert plan.invented
    SimulatedSource(plan, duration_s=60)


def test_readme_lists_the_kinds_and_files():
    """The demo's README names every kind of simulated sensor and every file."""
    text = (demo_folder() / "README.md").read_text(encoding="utf-8")
    for name, kind in KINDS.items():
        assert f"| `{name}` | {kind.summary} |" in text
    for path in demo_captures():
        assert f"`{path.name}`" in text


def test_demo_files_are_found_installed_and_in_a_checkout(tmp_path: Path, monkeypatch):
    """Beside the package they win, else those of the checkout; without any, one sentence."""
    installed, checkout = tmp_path / "demo", tmp_path / "recordings_demo"
    monkeypatch.setattr(demo_files, "PLACES", (installed, checkout))
    with pytest.raises(CaptureError, match="install Sidebeat again"):
        demo_captures()
    checkout.mkdir()
    assert demo_folder() == checkout
    with pytest.raises(CaptureError, match="recordings are missing"):
        demo_captures()
    with pytest.raises(CaptureError, match="practice plan is missing"):
        practice_plan()
    installed.mkdir()
    assert demo_folder() == installed
