"""``sidebeat live``: the file it takes, a full disk, what it cannot do.

A process of its own has what is attached to, or lowers its own priority; all else is asked here.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from live import __main__ as entry
from live.capture import capture_file
from live.cli.main import WRONG
from live.protocol.feed import CaptureStatus, Ended
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from replay.capture import Capture, CaptureWriter
from replay.event import LINK
from replay.plan import Plan, PlannedSensor, format_plan
from tests.standins.broker import Broker
from tests.standins.counted import (  # noqa: F401
    broker_fixture,
    counting,
    events_of,
    on_posix,
    plan_for,
    readings,
    without_holes,
)
from tests.standins.running import NOBODY_HEARD, ROOT, follow, running_capture

SOON = ("--view", "none", "--minutes", "0.01")
"""So that what should have been refused ends."""
Said = tuple[int, str, str]
"""Exit status, stdout and stderr of the command."""


@pytest.fixture
def live_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Said]:
    """``sidebeat live`` with these options, in this process and in a folder of its own."""
    monkeypatch.setenv(RUN_FOLDER_VARIABLE, str(tmp_path / "run"))
    monkeypatch.chdir(tmp_path)

    def run(*options: str) -> Said:
        status = entry.main(["live", *options])
        return (status, *capsys.readouterr())

    return run


def in_a_process(*options: str) -> Said:
    """The same in a process of its own, which steps behind others before it attaches a view."""
    done = subprocess.run(
        [sys.executable, "-m", "live", "live", *options],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=45,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


@pytest.fixture
def recorded_here(tmp_path: Path, live_here: Callable[..., Said]) -> Callable[..., Said]:
    """A recording of a plan in this process, to the folder ``captures``."""

    def run(plan: Plan, *options: str) -> Said:
        (tmp_path / "asked.toml").write_text(format_plan(plan), encoding="utf-8")
        return live_here("--plan", "asked.toml", "--out", "captures", *options)

    return run


def test_two_captures_that_begin_at_once_both_get_a_file(
    broker: Broker, recorded_here: Callable[..., Said], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where another capture takes the name in the last moment, the next name is taken."""

    def second(path: Path, plan: Plan, **rest: str) -> CaptureWriter:
        if not path.stem.endswith("-2"):
            CaptureWriter(path, plan, **rest).close(t_ns=0, reason="quicker")
        return CaptureWriter(path, plan, **rest)

    monkeypatch.setattr(capture_file, "CaptureWriter", second)
    status, told, _ = recorded_here(plan_for(broker), "--json", "--minutes", "0.01")
    assert status == NOBODY_HEARD
    mine = Path(json.loads(told)["capture"])
    assert mine.stem.endswith("-2")
    for path in (mine, mine.with_stem(mine.stem.removesuffix("-2"))):
        with Capture.open(path) as saved:
            assert saved.clean


def test_a_session_in_which_nobody_was_heard_is_a_failure(
    broker: Broker, recorded_here: Callable[..., Said]
) -> None:
    """The exit status is 2, and why nobody was heard stands on stderr and in the facts."""
    status, out, told = recorded_here(plan_for(broker), "--json", "--minutes", "0.03")
    assert status == NOBODY_HEARD
    facts = json.loads(out)
    assert [one["sensor"] for one in facts["not_heard"]] == [
        sensor.label for sensor in plan_for(broker).sensors
    ]
    assert all("Waiting for the first message" in one["advice"] for one in facts["not_heard"])
    assert "planned sensors was ever heard.  Waiting for the first message" in told


@on_posix
def test_a_full_disk_stops_the_session_visibly(broker: Broker, tmp_path: Path) -> None:
    """When saving fails, the capture ends, says why and what is in the file, and exits non-zero."""
    before = (
        "import resource, signal\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (120_000, 120_000))\n"
    )
    with (
        counting(broker, every_s=0.001),
        running_capture(tmp_path / "c", plan_for(broker), "--json", before=before) as capture,
    ):
        feed = capture.attach()
        messages = follow(feed, lambda seen: any(isinstance(m, Ended) for m in seen))
        feed.close()
        assert capture.wait() == 2
        path = capture.file()
        sentence = capture.stderr.splitlines()[-1]
        facts = json.loads(capture.stdout)
    assert "saving failed" in sentence
    assert str(path) in sentence
    assert facts["problem"] in sentence
    end = next(m for m in messages if isinstance(m, Ended))
    assert "saving failed" in end.reason
    with Capture.open(path) as saved:
        assert not saved.clean
        events = list(saved.events())
    assert len(events) == facts["saved_events"] > 0
    assert without_holes(readings(events))


def test_practice_saves_nothing(broker: Broker, tmp_path: Path) -> None:
    """With --practice everything runs and no file is made; the status says so too."""
    with running_capture(tmp_path / "c", plan_for(broker), "--json", saved=False) as capture:
        feed = capture.attach()
        feed.send("stop")
        messages = follow(feed, lambda seen: any(isinstance(m, Ended) for m in seen))
        assert "nothing is saved" in feed.title
        feed.close()
        assert capture.wait() == NOBODY_HEARD
        facts = json.loads(capture.stdout)
    assert {m.path for m in messages if isinstance(m, CaptureStatus)} == {""}
    assert facts["capture"] is None
    assert list(capture.folder.rglob("*.sqlite")) == []


def test_two_captures_of_one_minute_get_two_files(
    broker: Broker, recorded_here: Callable[..., Said], tmp_path: Path
) -> None:
    """A file that exists is never written to; the next one gets a number."""
    for _ in range(2):
        status, _, _ = recorded_here(plan_for(broker), "--json", "--minutes", "0.01")
        assert status == NOBODY_HEARD
    assert len(list((tmp_path / "captures").glob("*.sqlite"))) == 2


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        (["--view", "none"], "say which session"),
        (["--plan", "missing.toml"], "cannot be read"),
        (["--plan", "plan.toml", "--minutes", "0"], "--minutes must be"),
        (["--plan", "plan.toml", "--minutes", "nan"], "--minutes must be"),
        (["--plan", "plan.toml", "--practice", "--out", "x", *SOON], "saves nothing"),
        (
            ["--plan", "plan.toml", "--out", "plan.toml/x", *SOON],
            "cannot be made",
        ),
        (["--attach", "--plan", "plan.toml"], "not for --attach"),
        (["--attach", "--view", "terminal"], "no capture is running"),
        (["--attach", "--view", "none"], "needs a view"),
        (["--attach", "nowhere.json", "--view", "terminal"], "there is no run file"),
        (["--plan", "file.toml", *SOON], "(Tansy)"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_sentence(
    tmp_path: Path, live_here: Callable[..., Said], options: list[str], complaint: str
) -> None:
    """Bad input: one sentence on stderr, nothing on stdout, exit status 2, no file."""
    (tmp_path / "plan.toml").write_text(
        '[session]\nwearer = "W1"\nactivity = "easy trail running"\n'
        '[[sensor]]\nlabel = "Yarrow"\nrole = "reference"\nsource = "mqtt"\ntopic = "a"\n'
        '[[sensor]]\nlabel = "Tansy"\nrole = "test"\nsource = "mqtt"\ntopic = "b"\n'
    )
    (tmp_path / "file.toml").write_text(
        '[session]\nwearer = "W1"\nactivity = "easy trail running"\n'
        '[[sensor]]\nlabel = "Yarrow"\nrole = "reference"\nsource = "mqtt"\ntopic = "a"\n'
        '[[sensor]]\nlabel = "Tansy"\nrole = "test"\nsource = "file"\nfile = "tansy.fit"\n'
        'alignment = "by hand"\n'
    )
    asked = in_a_process if "--attach" in options and "--view" in options else live_here
    status, out, err = asked(*options)
    assert (status, out) == (2, "")
    assert complaint in err
    assert len(err.strip().splitlines()) == 1
    assert list(tmp_path.rglob("*.sqlite")) == []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="takes away the system bus")
@pytest.mark.parametrize("mixed", [False, True])
def test_without_bluetooth_it_says_so(
    broker: Broker,
    recorded_here: Callable[..., Said],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    mixed: bool,
) -> None:
    """Bluetooth sensors alone cannot be captured here; beside others, the others are captured."""
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path / 'no-bus'}")
    plan = plan_for(broker)
    tansy = PlannedSensor(label="Tansy", role="test", name="Tansy")
    strap = PlannedSensor(label="Yarrow", role="reference", name="Yarrow")
    sensors = (*plan.sensors, tansy) if mixed else (strap, tansy)
    status, out, err = recorded_here(
        replace(plan, sensors=sensors), "--view", "none", "--minutes", "0.02"
    )
    assert status == (NOBODY_HEARD if mixed else WRONG)
    if mixed:
        assert "The other sensors are captured meanwhile." in out
        (path,) = (tmp_path / "captures").glob("*.sqlite")
        assert {e.sensor for e in events_of(path) if e.channel == LINK} == {1, 2, 3}
    else:
        assert "Bluetooth" in err
        assert len(err.strip().splitlines()) == 1
        assert out == ""
        assert not (tmp_path / "captures").exists()
