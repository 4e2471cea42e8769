"""The examples in the docstrings of the statistics are true."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import analysis.statistics

MODULES = sorted(module.name for module in pkgutil.iter_modules(analysis.statistics.__path__))
ONLY_CONSTANTS = {"rise"}


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_give_what_they_say(name):
    """Each module that computes shows it with at least one example, and each example runs."""
    module = importlib.import_module(f"analysis.statistics.{name}")
    tried = doctest.testmod(module)
    assert tried.failed == 0
    assert tried.attempted or name in ONLY_CONSTANTS
