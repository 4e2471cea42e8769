"""``sidebeat study``: its output, its JSON, its exit status."""

from __future__ import annotations

import json
import shutil

import pytest

from analysis.report.study.facts import study_facts
from analysis.statistics.estimate import Estimate
from analysis.study.study import study_of
from live import __main__ as entry
from live.cli import study as command
from live.cli.main import command_parser
from live.cli.study_tables import strip, study_parts
from live.cli.study_window import page_command
from live.views.terminal.console import PlainConsole
from replay.demo_files import demo_captures
from tests.standins.feeds import two_sensors, written
from tests.standins.pool_here import pool_here
from tests.standins.study_rows import sessions

NINE = {"Sorrel": [1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8, 1.1, 15.0],
        "Tansy": [3.1, 2.9, 3.4, 3.0, 2.7, 3.2, 3.3, 2.8, 3.0]}  # fmt: skip


def printed(study, width=100):
    console = PlainConsole(width=width, force_terminal=False)
    with console.capture() as captured:
        for part in study_parts(study, width):
            console.print(part)
    return captured.get()


def test_of_thousands_of_files_that_are_none_some_are_named(tmp_path, capsys):
    """The rest is counted: a folder may be full of another program's databases."""
    for number in range(70):
        (tmp_path / f"{number}.sqlite").touch()
    assert entry.main(["study", str(tmp_path)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert sum(": is empty" in line for line in told) == 50
    assert told[50:] == [
        "sidebeat: left out: 20 more files",
        f"sidebeat: {tmp_path}: no session could be read",
    ]


def test_the_json_has_what_scripts_read(tmp_path, capsys):
    """One object with sessions, sensors by activity, intervals, comparisons with their claim."""
    bad = tmp_path / "empty.sqlite"
    bad.touch()
    status = entry.main(["study", str(demo_captures()[-1]), str(bad), "--json"])
    told = capsys.readouterr()
    facts = json.loads(told.out)
    assert status == 0
    (session,) = facts["sessions"]
    assert {one["activity"] for one in facts["sensors"]} == {session["activity"]}
    assert all({"mae_bpm", "mae_bpm_interval"} <= set(one) for one in facts["sensors"])
    assert all(one["claim"] is None for one in facts["comparisons"])
    assert facts["left_out"] == [{"file": str(bad), "reason": f"{bad}: is empty"}]
    assert told.err == f"sidebeat: left out: {bad}: is empty\n"
    assert facts["invented"] is True


def test_what_claims_nothing_is_one_line_in_all(tmp_path, capsys):
    """A read-me and pictures beside captures are counted by their endings, and not complained of
    one by one.
    """
    folder = tmp_path / "captures"
    folder.mkdir()
    shutil.copy(demo_captures()[-1], folder)
    for name in ("README", "plan.toml", "a.png", "b.PNG"):
        (folder / name).write_text("x", encoding="utf-8")
    assert entry.main(["study", str(folder), "--json"]) == 0
    told = capsys.readouterr()
    assert told.err == (
        "sidebeat: 4 other files were passed over, being no captures by ending or content "
        "(.png 2, .toml 1, no ending 1)\n"
    )
    facts = json.loads(told.out)
    assert facts["left_out"] == []
    assert len(facts["passed_over"]) == 4


def test_a_cluster_needs_its_extra(capsys, monkeypatch):
    """Without the package one sentence says what to install, before anything is read."""
    monkeypatch.setattr("live.cli.study.CLUSTER_PACKAGES", {"nowhere_to_be_found": "distributed"})
    assert entry.main(["study", "captures", "--scheduler", "tcp://127.0.0.1:1"]) == 2
    assert "a cluster needs distributed: " in capsys.readouterr().err


def test_the_pages_of_the_sessions_are_written_once_and_linked(tmp_path, capsys):
    """``--pages`` makes those that are not there, and the study's page leads to each of them."""
    pytest.importorskip("jinja2", reason="pages need the extra report")
    from tests.standins.small_pictures import without_figures  # reads matplotlib

    capture = written(tmp_path / "one.sqlite", two_sensors(60), end_s=60)
    page, pages = tmp_path / "reports" / "study.html", tmp_path / "pages of sessions"
    command = ["study", str(capture), "--out", str(page), "--pages", str(pages)]
    with without_figures():
        assert entry.main(command) == 0
    (one,) = pages.iterdir()
    assert one.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert f'href="../pages%20of%20sessions/{one.name}"' in page.read_text(encoding="utf-8")
    made = one.stat().st_mtime_ns
    assert entry.main(command) == 0
    assert one.stat().st_mtime_ns == made
    assert f"Pages of the sessions, 1 in all, in {pages}" in capsys.readouterr().out


def test_what_is_of_the_page_needs_the_page(capsys):
    """Options that nothing would show are refused, before anything is read."""
    for option, said in (
        (["--pages", "there"], "is of the page, which --out writes"),
        (
            ["--highlight", "Sorrel"],
            "of figures, which --out and --figures write and --view window shows",
        ),
        (
            ["--sensor", "Sorrel"],
            "of figures, which --out and --figures write and --view window shows",
        ),
        (["--hide-band"], "of figures, which --out and --figures write and --view window shows"),
        (["--from", "10:00"], "which figures of many sessions have not"),
        (["--to", "20:00"], "which figures of many sessions have not"),
        (["--clock", "utc"], "which figures of many sessions have not"),
    ):
        assert entry.main(["study", "captures", *option]) == 2
        assert (error := capsys.readouterr().err).startswith(f"sidebeat: {option[0]} is of ")
        assert said in error


def test_the_pages_of_the_sessions_show_what_was_asked_for(tmp_path, capsys, monkeypatch):
    """Sensors and stretch go to the sessions' figures; such pages have names of their own."""
    pytest.importorskip("jinja2", reason="pages need the extra report")
    from tests.standins.small_pictures import one_figure  # reads matplotlib

    monkeypatch.setattr("live.cli.study_pages.pool_of_processes", pool_here)
    captures = [
        str(written(tmp_path / f"{name}.sqlite", two_sensors(150), end_s=150))
        for name in ("one", "two")
    ]
    page, pages = tmp_path / "study.html", tmp_path / "pages"
    command = ["study", *captures, "--jobs", "2", "--out", str(page), "--pages", str(pages)]
    with one_figure():
        assert entry.main([*command, "--sensor", "Sorrel", "--from", "1:00", "--to", "2:00"]) == 0
    assert len(list(pages.iterdir())) == 2
    for one in pages.iterdir():
        assert "Sorrel, 1:00 to 2:00 of" in one.read_text(encoding="utf-8")
    assert "Sorrel, 1:00 to 2:00 of" not in page.read_text(encoding="utf-8")
    assert entry.main([*command, "--sensor", "Rue"]) == 2
    assert "--sensor: 'Rue' is none of" in capsys.readouterr().err
    assert len(list(pages.iterdir())) == 2


def test_the_window_neither_prints_nor_writes(capsys):
    """What is of output is refused beside it, before anything is read."""
    assert entry.main(["study", "captures", "--view", "window", "--json"]) == 2
    assert "--json is of what is printed and written: leave --view out" in capsys.readouterr().err


def test_without_a_screen_the_study_is_printed(tmp_path, capsys, monkeypatch):
    """And that is said, with the reason."""
    monkeypatch.setattr("live.preflight.no_window", lambda: "There is no screen.")
    capture = tmp_path / "one.sqlite"
    shutil.copy(demo_captures()[-1], capture)
    assert entry.main(["study", str(capture), "--view", "window"]) == 0
    told = capsys.readouterr()
    assert "There is no screen.  The terminal view is taken." in told.err
    assert "MAE" in told.out


def test_the_page_that_the_window_writes_is_of_the_same_study():
    """The command line has every option that changes a number or a figure."""
    typed = ["a b", "c", "--pool", "tolerance", "--pool", "unclean", "--control", "Sorrel",
             "--sensor", "Sorrel", "--highlight", "Tansy", "--hide-band", "--jobs", "2",
             "--plan", "p.toml", "--published", "q.csv"]  # fmt: skip
    parser = command_parser("study")
    asked = parser.parse_args([*typed, "--view", "window"])
    name, *again = page_command(asked)
    assert name == "study"
    assert vars(parser.parse_args(again)) == vars(asked) | {"view": "terminal"}


def test_what_others_published_is_told_apart(tmp_path, capsys, monkeypatch):
    """In words for people, and as ``published`` for scripts; a wrong table is refused at once."""
    table = tmp_path / "published.csv"
    head = "sensor,activity,statistic,value,source\n"
    table.write_text(head + "Rue,walking,mae_bpm,4.2,a leaflet\n", encoding="utf-8")
    monkeypatch.setattr(command, "read", lambda *_, **__: study_of(sessions(NINE)))
    assert entry.main(["study", "captures", "--published", str(table)]) == 0
    assert "Rue in walking: MAE 4.2 bpm (a leaflet)." in capsys.readouterr().out
    assert entry.main(["study", "captures", "--published", str(table), "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["published"]
    assert (told["sensor"], told["value"], told["sessions"]) == ("Rue", 4.2, None)
    table.write_text(head + "Rue,walking,mae,4.2,a leaflet\n", encoding="utf-8")
    assert entry.main(["study", "captures", "--published", str(table)]) == 2
    assert "'mae' is none of bias_bpm" in capsys.readouterr().err


def test_without_any_session_it_fails_with_a_sentence(tmp_path, capsys):
    """No session at all is the one failure: a line for each file, and a status other than 0."""
    (tmp_path / "empty.sqlite").touch()
    assert entry.main(["study", str(tmp_path)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 2
    assert told[1].endswith("no session could be read")
    assert entry.main(["study", str(tmp_path / "nowhere")]) == 2


def test_the_json_of_a_study_has_claims_and_both_figures():
    """With failures the mean stands without an interval, that without them with one."""
    facts = study_facts(study_of(sessions(NINE)))
    (sorrel, _) = facts["sensors"]
    assert sorrel["mae_bpm_interval"] is None
    assert sorrel["without_failures"]["mae_bpm_interval"] is not None
    assert sorrel["failures"]["failed_sessions"] == 1
    found = next(one for one in facts["comparisons"] if one["of"] == "sensors")
    assert found["separated"] is True
    assert found["claim"].startswith("Sorrel was closer than Tansy in rowing ergometer")
    assert found["sessions_neither_lost"] == [8, 8]
    json.dumps(facts, allow_nan=False)


@pytest.mark.parametrize("width", [80, 120])
def test_every_session_is_a_point_and_failures_are_marked(width):
    """The strips show each session, those that lost the heart by another sign."""
    text = printed(study_of(sessions(NINE)), width)
    lines = [line for line in text.splitlines() if line.startswith("Sorrel ") and "o" in line[9:]]
    assert any("x" in line for line in lines)
    assert "Sorrel was closer than Tansy" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= width


def test_invented_data_are_marked():
    """A study of simulated wearers says so first."""
    assert printed(study_of(sessions(NINE, invented=True))).startswith("INVENTED DATA")


def test_the_next_line_of_the_wearing_plan_is_printed_alone(capsys, monkeypatch):
    """``--next`` prints who wears what where in the next session of each activity."""
    rows = sessions({"Sorrel": [1.0, 2.0], "Tansy": [2.0, 1.5]})
    monkeypatch.setattr(command, "read", lambda *_, **__: study_of(rows))
    assert entry.main(["study", "captures", "--next"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("rowing ergometer: W1: Sorrel left wrist, Tansy right wrist")
    assert told.count("\n") == 1


def test_a_control_must_be_one_of_the_sensors(capsys, monkeypatch):
    """A label that no session has is refused with those that there are."""
    monkeypatch.setattr(command, "read", lambda *_, **__: study_of(sessions(NINE)))
    assert entry.main(["study", "captures", "--control", "Sorel"]) == 2
    assert "'Sorel' is none of Sorrel, Tansy" in capsys.readouterr().err


def test_the_demo_of_a_study_makes_what_is_missing_and_studies_it(tmp_path, capsys, monkeypatch):
    """``demo --study`` writes the recipe's captures, once, and prints their study."""
    from live.simulated import study_recipe

    monkeypatch.setattr(study_recipe, "STUDY", study_recipe.STUDY[:1])
    for _ in range(2):
        assert entry.main(["demo", "--study", "--out", str(tmp_path)]) == 0
        told = capsys.readouterr().out
        assert "INVENTED DATA" in told
        assert "stair climb with a pack: 1 session of 1 wearer" in told
    assert len(list((tmp_path / "demo_study").iterdir())) == 1


def test_a_strip_puts_points_over_the_interval():
    """Points hide the interval, failures hide points, and nothing leaves the axis."""
    assert strip([], Estimate(5.0, (0.0, 20.0)), 0.0, 10.0, 11) == "-----|-----"
    assert strip([(5.0, False), (5.0, True)], Estimate(5.0), 0.0, 10.0, 11) == " " * 5 + "x     "


def test_the_choices_are_those_of_the_study():
    """What may be sorted by and pooled is what the study knows."""
    from analysis.study.selection import Pool
    from analysis.study.statistic import SORTABLE

    assert tuple(SORTABLE) == command.SORTS
    assert tuple(Pool) == command.POOLS
