"""Some hostile input for each target, always the same; more by hand with ``make fuzz``."""

from __future__ import annotations

import random

import pytest

from benchmarks.fuzz import __main__ as command
from benchmarks.fuzz import file_targets, targets
from benchmarks.fuzz import runs as fuzz
from replay.errors import PlanError

EXAMPLES = {
    "payloads": 2000,
    "frames": 400,
    "plan": 200,
    "capture": 12,
    "logs": 6,
    "imports": 60,
    "mqtt": 6,
    "text": 500,
}


@pytest.mark.parametrize("name", fuzz.TARGETS)
def test_hostile_input_is_read_or_refused_in_a_sentence(name):
    """A fixed number of examples of every target, with a seed that is never changed."""
    assert fuzz.many(name, seed=20, examples=EXAMPLES[name]) == EXAMPLES[name]


OTHER_EVENTS = (file_targets.whole_capture()[0], ())


def test_a_finding_names_the_example_that_brings_it_back(monkeypatch):
    """Target, seed and number, by which that example alone is run again."""
    shown = []

    def stumble(chance: random.Random) -> None:
        shown.append(chance.random())
        if shown[-1] > 0.9:
            raise KeyError("x")

    monkeypatch.setitem(fuzz.TARGETS, "text", stumble)
    with pytest.raises(AssertionError, match=r"text, seed 3, example \d+: KeyError") as caught:
        fuzz.many("text", seed=3, examples=1000)
    number = int(str(caught.value).split("example ")[1].split(":")[0])
    found = shown[-1]
    with pytest.raises(KeyError):
        fuzz.one("text", 3, number)
    assert shown[-1] == found


@pytest.mark.parametrize(
    ("target", "spoil"),
    [
        ("payloads", lambda m: m.setattr(targets, "PayloadError", PlanError)),
        ("plan", lambda m: m.setattr(targets, "parse_plan", int)),
        ("text", lambda m: m.setattr(targets, "printable", lambda text: text)),
        ("text", lambda m: m.setattr(targets, "as_cell", lambda text: text)),
        ("capture", lambda m: m.setattr(file_targets, "whole_capture", lambda: OTHER_EVENTS)),
        ("logs", lambda m: m.setattr("replay.capture.wholeness.count_beyond", lambda *_: 0)),
    ],
)
def test_a_fault_is_found(monkeypatch, target, spoil):
    """A reader that raises anything else, shows what it must not, or reads other events."""
    spoil(monkeypatch)
    with pytest.raises(AssertionError, match=f"{target}, seed 1"):
        fuzz.many(target, seed=1, examples=400)


def test_the_command_tells_of_each_target_and_fails_for_a_finding(capfd, monkeypatch):
    """Each in a process of its own; the traceback of an example alone is shown."""
    monkeypatch.setattr("sys.argv", ["fuzz", "--examples", "2", "plan", "text"])
    assert command.main() == 0
    told = capfd.readouterr().out.splitlines()
    assert told == [f"{name}: 2 examples, nothing found" for name in ("plan", "text")]
    monkeypatch.setattr("sys.argv", ["fuzz", "--only", "no number", "plan"])
    with pytest.raises(SystemExit, match="2"):
        command.main()


def test_what_is_found_is_told_with_its_traceback(monkeypatch):
    """And with how to bring it back."""
    monkeypatch.setitem(fuzz.TARGETS, "text", lambda _: 1 / 0)
    is_finding, said = fuzz.Asked(examples=5, seed=7).told_of("text")
    assert is_finding
    assert "ZeroDivisionError" in said
    assert "text, seed 7, example 0" in said
