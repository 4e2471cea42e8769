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
    # Not by testmod: for each docstring, with examples or not, it would see whether any source file
    # that was ever quoted has changed.
    runner = doctest.DocTestRunner()
    for shown in doctest.DocTestFinder().find(module):
        if shown.examples:
            runner.run(shown)
    assert runner.failures == 0
    assert runner.tries or name in ONLY_CONSTANTS
