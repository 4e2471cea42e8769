"""``sidebeat live`` as a process: the file it takes, a full disk, what it cannot do."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from live.cli.main import WRONG
from live.protocol.feed import CaptureStatus, Ended
from replay.capture import Capture
from replay.event import LINK
from replay.plan import PlannedSensor
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


@on_posix
def test_two_captures_that_begin_at_once_both_get_a_file(broker: Broker, tmp_path: Path) -> None:
    """Where another capture takes the name in the last moment, the next name is taken."""
    before = (
        "from live.capture import capture_file as process\n"
        "writer = process.CaptureWriter\n"
        "def second(path, plan, **rest):\n"
        "    if not path.stem.endswith('-2'):\n"
        "        writer(path, plan, **rest).close(t_ns=0, reason='quicker')\n"
        "    return writer(path, plan, **rest)\n"
        "process.CaptureWriter = second\n"
    )
    with running_capture(
        tmp_path / "c", plan_for(broker), "--json", "--minutes", "0.02", before=before
    ) as capture:
        assert capture.wait() == NOBODY_HEARD
        mine = Path(json.loads(capture.stdout)["capture"])
    assert mine.stem.endswith("-2")
    for path in (mine, mine.with_stem(mine.stem.removesuffix("-2"))):
        with Capture.open(path) as saved:
            assert saved.clean


@on_posix
def test_a_session_in_which_nobody_was_heard_is_a_failure(broker: Broker, tmp_path: Path) -> None:
    """The exit status is 2, and why nobody was heard stands on stderr and in the facts."""
    with running_capture(
        tmp_path / "c", plan_for(broker), "--json", "--minutes", "0.03"
    ) as capture:
        assert capture.wait() == NOBODY_HEARD
        facts = json.loads(capture.stdout)
        told = capture.stderr
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
        "resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))\n"
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
    with running_capture(
        tmp_path / "c", plan_for(broker), "--json", "--minutes", "0.05", saved=False
    ) as capture:
        feed = capture.attach()
        messages = follow(feed, lambda seen: any(isinstance(m, Ended) for m in seen))
        assert "nothing is saved" in feed.title
        feed.close()
        assert capture.wait() == NOBODY_HEARD
        facts = json.loads(capture.stdout)
    assert {m.path for m in messages if isinstance(m, CaptureStatus)} == {""}
    assert facts["capture"] is None
    assert list(capture.folder.rglob("*.sqlite")) == []


def test_two_captures_of_one_minute_get_two_files(broker: Broker, tmp_path: Path) -> None:
    """A file that exists is never written to; the next one gets a number."""
    for _ in range(2):
        with running_capture(
            tmp_path / "c", plan_for(broker), "--json", "--minutes", "0.01"
        ) as capture:
            assert capture.wait() == NOBODY_HEARD
    assert len(list(capture.out.glob("*.sqlite"))) == 2


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        (["--view", "none"], "say which session"),
        (["--plan", "missing.toml"], "cannot be read"),
        (["--plan", "plan.toml", "--minutes", "0"], "--minutes must be"),
        (["--plan", "plan.toml", "--minutes", "nan"], "--minutes must be"),
        (["--plan", "plan.toml", "--practice", "--out", "x"], "saves nothing"),
        (["--plan", "plan.toml", "--out", "plan.toml/x", "--view", "none"], "cannot be made"),
        (["--attach", "--plan", "plan.toml"], "not for --attach"),
        (["--attach", "--view", "terminal"], "no capture is running"),
        (["--attach", "--view", "none"], "needs a view"),
        (["--attach", "nowhere.json", "--view", "terminal"], "there is no run file"),
        (["--plan", "file.toml", "--view", "none", "--minutes", "0.01"], "(Tansy)"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_sentence(
    tmp_path: Path, options: list[str], complaint: str
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
    done = subprocess.run(
        [sys.executable, "-m", "live", "live", *options],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "SIDEBEAT_RUN_DIR": str(tmp_path / "run")},
        capture_output=True,
        text=True,
        timeout=45,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert complaint in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert list(tmp_path.rglob("*.sqlite")) == []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="takes away the system bus")
@pytest.mark.parametrize("mixed", [False, True])
def test_without_bluetooth_it_says_so(broker: Broker, tmp_path: Path, mixed: bool) -> None:
    """Bluetooth sensors alone cannot be captured here; beside others, the others are captured."""
    nowhere = {"DBUS_SYSTEM_BUS_ADDRESS": f"unix:path={tmp_path / 'no-bus'}"}
    plan = plan_for(broker)
    tansy = PlannedSensor(label="Tansy", role="test", name="Tansy")
    strap = PlannedSensor(label="Yarrow", role="reference", name="Yarrow")
    sensors = (*plan.sensors, tansy) if mixed else (strap, tansy)
    options = ("--view", "none", "--minutes", "0.02")
    with running_capture(
        tmp_path / "c", replace(plan, sensors=sensors), *options, environment=nowhere
    ) as capture:
        assert capture.wait() == (NOBODY_HEARD if mixed else WRONG)
        if mixed:
            assert "The other sensors are captured meanwhile." in capture.stdout
            assert {e.sensor for e in events_of(capture.file()) if e.channel == LINK} == {1, 2, 3}
        else:
            assert "Bluetooth" in capture.stderr
            assert len(capture.stderr.strip().splitlines()) == 1
            assert capture.stdout == ""
            assert not capture.out.exists()
