"""``sidebeat import`` as tests call it: in this process, with what it printed."""

from __future__ import annotations

import json

from live import __main__ as entry

ALONE = ["--wearer", "W1", "--activity", "stairs"]


def run(capsys, *arguments):
    """Exit status, stdout and stderr."""
    status = entry.main(["import", *map(str, arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


def facts_of(capsys, *arguments):
    """What ``--json`` prints of an import that went well without a word."""
    status, out, err = run(capsys, *arguments, "--json")
    assert (status, err) == (0, "")
    return json.loads(out)


def analysed(capsys, capture):
    """The facts of ``sidebeat analyse`` on a capture."""
    assert entry.main(["analyse", capture, "--json"]) == 0
    return json.loads(capsys.readouterr().out)
