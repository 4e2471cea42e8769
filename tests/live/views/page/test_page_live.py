"""``sidebeat live --page`` from end to end: a recording, its watcher, a phone that is a program."""

from __future__ import annotations

import asyncio
import json
import re
import signal
import socket
from dataclasses import replace

import aiohttp
import psutil
import pytest

from live import __main__ as entry
from live import preflight
from live.cli.main import WRONG
from live.cli.page_option import check_page, page_lines, parse_place, with_page
from live.protocol.feed import CaptureStatus
from replay.capture import Capture
from replay.errors import PlanError, SidebeatError
from replay.event import MARKER
from replay.page import PagePlan
from replay.plan import format_plan, parse_plan
from tests.standins.broker import free_port
from tests.standins.feeds import PLAN
from tests.standins.running import follow, running_capture

pytestmark = pytest.mark.timeout(150)

SIMULATED = replace(
    PLAN,
    invented=True,
    sensors=(
        replace(PLAN.sensors[0], source="simulated", name="", kind="strap"),
        replace(PLAN.sensors[1], source="simulated", name="", kind="wrist"),
    ),
)


def addresses(capture):
    """Where the page is, as the terminal says it: with buttons, for looking."""
    pattern = r"The page for the phone: (http\S+)|For looking only: (http\S+)"
    capture.until(lambda: "For looking only" in capture.stdout, "address")
    (full, _), (_, read) = re.findall(pattern, capture.stdout)
    return full, read


async def until(socket, state, condition):
    """Take messages into ``state`` until it is as wanted."""
    async with asyncio.timeout(30):
        while not condition(state):
            message = await socket.receive()
            if message.type is not aiohttp.WSMsgType.TEXT:
                raise AssertionError(f"ended with {state}")
            told = json.loads(message.data)
            state.update(told.get("set", {}))
            state.setdefault("answers", []).extend(told.get("answers", []))
            await socket.send_str(json.dumps({"seen": told["n"]}))


def test_a_phone_marks_a_recording_and_sees_its_end(tmp_path):
    """The marker stands in the file, the addresses in every view's status, and the end on the
    phone.
    """
    options = ("--view", "none", "--page", f":{free_port()}")
    with running_capture(tmp_path / "run", SIMULATED, *options) as capture:
        full, read = addresses(capture)
        feed = capture.attach()
        told = follow(feed, lambda m: any(isinstance(s, CaptureStatus) and s.page for s in m))
        status = next(s for s in told if isinstance(s, CaptureStatus) and s.page)
        assert (status.page, status.page_to_look) == (full, read)

        async def look():
            state = {}
            async with aiohttp.ClientSession() as session, session.ws_connect(full + "live") as ws:
                await until(ws, state, lambda s: s.get("row 1", {}).get("bpm", "–") != "–")
                assert state["session"]["invented"]
                await ws.send_str(json.dumps({"id": "a", "do": "marker", "ago_ms": 200}))
                await until(ws, state, lambda s: s["answers"])
                feed.send("stop")
                await until(ws, state, lambda s: s.get("ended"))
            return state

        state = asyncio.run(look())
        assert capture.wait() == 0
        feed.close()
        assert state["answers"] == [{"id": "a", "done": True, "words": "marked"}]
        assert state["ended"] == "stopped from a view"
        assert state["alarm"] is None
        with Capture.open(capture.file()) as file:
            markers = [event for event in file.events() if event.channel == MARKER]
            assert [b"marker 1" in event.payload for event in markers] == [True]
            assert file.plan.page is None  # where it listened is this computer's business


def test_a_killed_recording_is_told_to_the_phone(tmp_path):
    """The watcher sees that it was cut off, and its page says so as loudly as other views."""
    options = ("--view", "none", "--page", f":{free_port()}")
    with running_capture(tmp_path / "run", SIMULATED, *options) as capture:
        full, _ = addresses(capture)
        watchers = psutil.Process(capture.process.pid).children()

        async def look():
            state = {}
            async with aiohttp.ClientSession() as session, session.ws_connect(full + "live") as ws:
                await until(ws, state, lambda s: "row 1" in s)
                capture.signal(signal.SIGKILL)
                await until(ws, state, lambda s: s.get("alarm"))
            return state

        try:
            state = asyncio.run(look())
        finally:
            for watcher in watchers:
                watcher.kill()
            psutil.wait_procs(watchers)
        assert state["alarm"]["headline"] == "RECORDING ENDED"
        assert str(tmp_path) not in json.dumps(state)


def asked(tmp_path, capsys, *options, plan=SIMULATED):
    """Exit status and stderr of a recording that must not begin."""
    file = tmp_path / "plan.toml"
    file.write_text(format_plan(plan), encoding="utf-8")
    status = entry.main(["live", "--plan", str(file), "--practice", "--view", "none", *options])
    return status, capsys.readouterr().err


def test_a_port_that_is_taken_is_said_before_anything_begins(tmp_path, capsys):
    """In one sentence with what to do; the plan can ask for the page too."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        status, said = asked(tmp_path, capsys, "--page", f":{port}")
        by_plan = replace(SIMULATED, page=PagePlan(port=port))
        assert asked(tmp_path, capsys, plan=by_plan) == (status, said)
    assert (status, len(said.splitlines())) == (WRONG, 1)
    assert f"something listens on 127.0.0.1:{port} already" in said


def test_without_its_packages_the_page_is_refused_with_the_line_that_installs_them(
    tmp_path, capsys, monkeypatch
):
    """One clear sentence before a recording begins."""
    monkeypatch.setattr(preflight, "PAGE_PACKAGES", {"absent_web_library": "aiohttp"})
    status, said = asked(tmp_path, capsys, "--page")
    assert (status, len(said.splitlines())) == (WRONG, 1)
    assert "the page needs aiohttp: " in said
    assert "[page]" in said


@pytest.mark.parametrize(
    ("told", "place"),
    [
        ("", (None, None)),
        (":9000", (None, 9000)),
        ("192.168.1.20", ("192.168.1.20", None)),
        ("192.168.1.20:9000", ("192.168.1.20", 9000)),
        ("[::1]:9000", ("::1", 9000)),
        ("::1", ("::1", None)),
        ("bench.lan:80", ("bench.lan", 80)),
    ],
)
def test_a_place_is_read_as_it_is_written(told, place):
    """Address and port, each as far as it is given."""
    assert parse_place(told) == place


@pytest.mark.parametrize("told", [":0", ":x", "a:99999"])
def test_a_place_that_is_none_is_refused(told, tmp_path, capsys):
    """With the words of the option, before anything begins."""
    status, said = asked(tmp_path, capsys, "--page", told)
    assert status == WRONG
    assert "must be ADDRESS, ADDRESS:PORT or :PORT" in said


def test_the_option_changes_what_the_plan_says():
    """Address and port of the option win, certificate and what is not given stay the plan's."""
    plan = replace(SIMULATED, page=PagePlan(address="127.0.0.1", port=free_port()))
    port = free_port()
    assert with_page(plan, (None, port)).page == PagePlan(port=port)
    assert with_page(SIMULATED, None).page is None


def test_a_plan_with_a_page_is_read_back():
    """Equal to what was written; what cannot be meant names its field."""
    page = PagePlan(address="192.168.1.20", port=9000, cert_file="a.pem", key_file="a.key")
    plan = replace(SIMULATED, page=page)
    assert parse_plan(format_plan(plan)) == plan
    assert plan.needs_watcher
    for broken, field in (
        (PagePlan(port=0), "page.port"),
        (PagePlan(address=""), "page.address"),
        (PagePlan(address="a b"), "page.address"),
        (PagePlan(key_file="a.key"), "page.cert_file"),
    ):
        with pytest.raises(PlanError, match=field):
            replace(SIMULATED, page=broken)


def test_a_certificate_that_cannot_be_read_is_said_before():
    """One sentence, not an address that nobody can open."""
    with pytest.raises(SidebeatError, match="the page's certificate cannot be used"):
        check_page(PagePlan(port=free_port(), cert_file="/nowhere.pem"))


def test_the_terminal_shows_a_code_only_where_a_phone_can_reach_it():
    """On loopback the address alone, with what to give for a phone."""
    near = page_lines("http://127.0.0.1:1/t/", "http://127.0.0.1:1/r/", PagePlan())
    assert near[1] == "(On this computer alone; for a phone give its address: --page 0.0.0.0)"
    far = page_lines("http://192.168.1.20:1/t/", "r", PagePlan(address="192.168.1.20"))
    assert any("█" in line for line in far)
    assert far[-1] == "For looking only: r"


def test_the_page_needs_a_plan_and_a_capture(capsys):
    """Without a plan, and for a view of a running capture, the option is refused."""
    assert entry.main(["live", "--page"]) == WRONG
    assert "--page needs a plan" in capsys.readouterr().err
    assert entry.main(["live", "--attach", "--page"]) == WRONG
    assert "--page is for a new capture" in capsys.readouterr().err
