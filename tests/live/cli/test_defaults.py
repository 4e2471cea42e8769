"""The user's own defaults of a command's options: taken, outdone by what is typed, and checked."""

from __future__ import annotations

import json

import pytest

from live import __main__ as entry
from live.cli.defaults import apply_defaults, defaults_path
from live.cli.main import WRONG, command_parser
from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from replay.demo_files import demo_captures
from replay.errors import SidebeatError


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """A configuration of this test alone."""
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path))


def written(text):
    defaults_path().write_text(text, encoding="utf-8-sig")


def parsed(*options):
    parser = command_parser("live")
    apply_defaults(parser, "live")
    return parser.parse_args(options)


def test_without_a_file_nothing_changes():
    """The parser's own defaults stand."""
    assert parsed().view is None


def test_values_are_defaults_and_what_is_typed_counts_more():
    """Texts, numbers and switches are taken as if typed; an option on the line outdoes them."""
    written('[live]\nout = "captures"\nview = "terminal"\nminutes = 45\nmute = true\n')
    taken = parsed("--view", "none")
    assert (str(taken.out), taken.view, taken.minutes, taken.mute) == (
        "captures", "none", 45.0, True,
    )  # fmt: skip


def test_another_commands_table_says_nothing(capsys):
    """A table is for its own command."""
    written("[analyse]\njson = true\n")
    assert parsed().json is False
    assert entry.main(["analyse", str(demo_captures()[0])]) == 0
    assert json.loads(capsys.readouterr().out)["wearer"] == "W1"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[live]\ncolour = "red"', "takes no default for 'colour'"),
        ("[live]\nattach = 'x'", "takes no default for 'attach'"),
        ("[live]\non-warning = 'rm'", "takes no default for 'on-warning'"),
        ("[live]\nmute = 1", "mute must be true or false, not 1"),
        ("[live]\nview = 'wall'", "view must be one of window, terminal, none"),
        ("[live]\nminutes = 'soon'", "minutes is not understood"),
        ("[live]\nminutes = [1]", "minutes must be a text or a number"),
        ("live = 1", "[live] must be a table of options"),
        ("[live", "is not valid TOML"),
        ("x = " + "[" * 5000, "is nested too deeply"),
    ],
)
def test_what_cannot_be_taken_is_one_sentence(text, words, capsys):
    """A wrong default names file, command, option and what it takes, and nothing is done."""
    written(text)
    with pytest.raises(SidebeatError):
        parsed()
    assert entry.main(["live", "--practice"]) == WRONG
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert words in said


def test_help_is_shown_whatever_the_file_holds(capsys):
    """Help must not fail for what it could help with."""
    written("[live\n")
    assert entry.main(["live", "--help"]) == 0
    capsys.readouterr()
