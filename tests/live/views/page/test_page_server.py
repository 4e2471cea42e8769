"""The page's server, spoken to by a program: who is let in, what is answered, what is refused."""

from __future__ import annotations

import asyncio
import json
import logging
import time

import aiohttp
import pytest

from live.protocol.feed import Tick
from live.views.page import server as server_module
from live.views.page import viewer as viewer_module
from live.views.page.facts import PageFacts
from live.views.page.page import Page
from live.views.page.viewer import LONGEST_REQUEST, MOST_ASKED, read_request
from replay.event import NS_PER_S
from tests.standins.feeds import two_sensors
from tests.standins.page_viewer import SOON_S, get, looking, refused
from tests.standins.pages import PagedFeed, seconds, served_page


@pytest.fixture
def served():
    feed = PagedFeed()
    feed.put(*seconds(two_sensors(40)))
    with served_page(feed) as page:
        yield page


def test_the_page_and_its_parts_are_behind_the_token(served):
    """With either token all of it; with a wrong one, or none, nothing but one sentence."""
    parts = ("", "page.js", "page.css", "icon.svg")
    for url in (served.url(), served.url(read=True)):
        for part in parts:
            status, headers, text = get(url + part)
            assert (status, bool(text)) == (200, True)
            assert "default-src 'none'" in headers["Content-Security-Policy"]
            assert headers["Cache-Control"] == "no-store"
    wrong = f"http://127.0.0.1:{served.port}/{'x' * 22}/"
    for url in (wrong, wrong + "page.js", wrong + "live", f"http://127.0.0.1:{served.port}/"):
        status, headers, text = get(url)
        assert status == 403
        assert text.startswith("This address opens nothing here, or no longer")
        assert "Content-Security-Policy" in headers
    assert get(served.url() + "other")[0] == 404
    status, headers, _ = get(served.url().rstrip("/"))
    assert (status, headers["Location"]) == (302, served.url().split(str(served.port))[1])


def test_another_name_for_this_computer_is_refused(served):
    """A page of somebody else's whose name points here gets nothing, with the right token too."""
    assert get(served.url(), Host="evil.example")[0] == 421
    assert get(served.url(), Host=f"localhost:{served.port}")[0] == 200
    assert refused(served.url(), Host="evil.example") == 421
    assert refused(served.url(), Origin="http://evil.example") == 403


def test_a_viewer_knows_all_and_then_what_is_new(served):
    """The whole state on coming, then what changes; the drawing goes on second by second."""

    async def look():
        async with looking(served.url()) as phone:
            await phone.take()
            assert phone.state["session"]["wearer"] == "W1"
            assert phone.state["right"] == "full"
            newest = phone.points[-1][0]
            served.feed.put(*seconds(two_sensors(43))[-10:])
            await phone.until(lambda p: p.points[-1][0] > newest)
            assert [point[0] for point in phone.points] == list(range(phone.points[-1][0] + 1))
            return phone.state

    state = asyncio.run(look())
    expected = PageFacts(served.feed.plan).state(served.model, 0)
    assert {key: value for key, value in state.items() if key != "right"} == json.loads(
        json.dumps(expected)
    )


def test_what_is_sent_is_compressed(served):
    """As every browser offers it; a phone at the edge of the Wi-Fi has less to take."""

    async def look():
        async with (
            aiohttp.ClientSession() as session,
            session.ws_connect(served.url() + "live", compress=15) as opened,
        ):
            return opened.compress

    assert asyncio.run(look()) > 0


def test_a_marker_and_what_is_known_go_the_way_of_every_view(served):
    """As commands of the protocol, answered in the capture's words; what was not shown is not
    silenced.
    """
    served.feed.put(Tick(70 * NS_PER_S))  # both are silent by now

    async def look():
        async with looking(served.url()) as phone:
            await phone.take()
            await phone.until(lambda p: any(w["calls"] for w in p.state["warnings"]))
            await phone.ask(id="a", do="marker", ago_ms=1500)
            await phone.until(lambda p: p.answers)
            await phone.ask(id="b", do="known", warnings=[[2, "frozen"]])
            await phone.until(lambda p: len(p.answers) == 2)
            shown = [[w["sensor"], w["kind"]] for w in phone.state["warnings"] if w["calls"]]
            await phone.ask(id="c", do="known", warnings=shown[:1])
            await phone.until(lambda p: len(p.answers) == 3)
            sensor, kind = shown[0]
            calls = lambda p: [  # noqa: E731
                w["calls"]
                for w in p.state["warnings"]
                if (w["sensor"], w["kind"]) == (sensor, kind)
            ]
            await phone.until(lambda p: calls(p) == [False])
            return phone.answers, (sensor, kind)

    answers, (sensor, kind) = asyncio.run(look())
    assert answers[0] == {"id": "a", "done": True, "words": "marked"}
    assert answers[1] == {"id": "b", "done": False, "words": "no warning calls"}
    assert answers[2]["done"] is True
    assert served.feed.sent == [
        ("marker", {"text": "marker 2", "ago_ms": 1500}),
        ("acknowledge", {"sensor": sensor, "kind": kind}),
    ]


def test_what_is_asked_twice_is_done_once(served):
    """After a cut a phone asks again by the same id: the same answer, and one marker."""

    async def look():
        for _ in range(2):
            async with looking(served.url()) as phone:
                await phone.ask(id="same", do="marker")
                await phone.until(lambda p: p.answers)
                assert phone.answers == [{"id": "same", "done": True, "words": "marked"}]

    asyncio.run(look())
    assert [action for action, _ in served.feed.sent] == ["marker"]


def test_the_second_token_is_for_looking_only(served):
    """It is told so, sees the same, and what it asks for is refused."""

    async def look():
        async with looking(served.url(read=True)) as phone:
            await phone.take()
            assert phone.state["right"] == "read"
            assert phone.state["row 2"]["label"] == "Sorrel"
            await phone.ask(id="a", do="marker")
            await phone.until(lambda p: p.answers)
            return phone.answers

    (answer,) = asyncio.run(look())
    assert answer == {"id": "a", "done": False, "words": "this address is for looking only"}
    assert served.feed.sent == []


@pytest.mark.parametrize(
    "told",
    [
        "not JSON",
        "[]",
        "[" * 1000,
        '{"do": "marker"}',
        '{"id": "a", "do": "stop"}',
        '{"id": "a", "do": "marker", "ago_ms": -1}',
        '{"id": "a", "do": "marker", "ago_ms": 1e9}',
        '{"id": "a", "do": "marker", "ago_ms": true}',
        '{"id": "a", "do": "known", "warnings": [[1]]}',
        '{"id": "a", "do": "known", "warnings": "all"}',
        '{"id": "' + "a" * 100 + '", "do": "marker"}',
        "x" * (LONGEST_REQUEST + 1),
        b"\x00",
    ],
)
def test_nonsense_ends_that_viewer_and_nothing_else(told, served):
    """Whoever talks so is let go; no fault is counted, and the next viewer sees everything."""

    async def look():
        async with looking(served.url()) as phone:
            await phone.take()
            send = phone.socket.send_bytes if isinstance(told, bytes) else phone.socket.send_str
            await send(told)
            async with asyncio.timeout(SOON_S):
                while not phone.socket.closed:
                    await phone.socket.receive()
        async with looking(served.url()) as phone:
            await phone.take()
            assert phone.state["row 1"]["label"] == "Yarrow"

    asyncio.run(look())
    assert (served.page.faults, served.feed.sent) == (0, [])


def test_a_request_is_read_in_full():
    """What is told comes out as it was told."""
    told = {"id": "a", "do": "known", "ago_ms": 3, "warnings": [[2, "silent"], [0, "clock jump"]]}
    request = read_request(told)
    assert (request.action, request.ago_ms) == ("known", 3)
    assert request.warnings == ((2, "silent"), (0, "clock jump"))


def test_more_than_fingers_can_do_is_refused(served):
    """A flood of markers from one phone becomes so many markers, and the rest is told so."""

    async def look():
        async with looking(served.url()) as phone:
            for number in range(MOST_ASKED + 5):
                await phone.ask(id=str(number), do="marker")
            await phone.until(lambda p: len(p.answers) == MOST_ASKED + 5)
            return [answer["done"] for answer in phone.answers]

    done = asyncio.run(look())
    assert done.count(True) == MOST_ASKED == len(served.feed.sent)


def test_a_slow_viewer_gets_fewer_states_and_the_newest(served):
    """While it has not said that it has the last one, nothing more is sent; then all that changed,
    at once: the recording and who is quick are not held up.
    """

    async def look():
        async with looking(served.url()) as slow, looking(served.url()) as quick:
            first = await slow.take(seen=False)
            await quick.take()
            for second in range(41, 60):
                served.feed.put(Tick(second * NS_PER_S))
                before = quick.state["time"]
                await quick.until(lambda p, before=before: p.state["time"] != before)
            with pytest.raises(TimeoutError):
                await asyncio.wait_for(slow.socket.receive(), 0.3)
            await slow.socket.send_str(json.dumps({"seen": first["n"]}))
            await slow.until(lambda p: p.state["time"] == quick.state["time"])
            return slow.messages, quick.messages

    slow, quick = asyncio.run(look())
    assert quick >= 20
    assert slow <= 3


def test_a_viewer_that_takes_nothing_is_let_go(served, monkeypatch):
    """After its patience the server closes the connection; a phone comes back by itself."""
    monkeypatch.setattr(viewer_module, "PATIENCE_S", 0.3)

    async def look():
        async with looking(served.url()) as phone:
            await phone.take(seen=False)
            message = await asyncio.wait_for(phone.socket.receive(), SOON_S)
            assert message.type in (aiohttp.WSMsgType.CLOSE, aiohttp.WSMsgType.CLOSED)

    asyncio.run(look())
    assert served.page.faults == 0


def test_no_more_viewers_than_it_can_serve(served, monkeypatch):
    """One more is told so; when another leaves there is room again."""
    monkeypatch.setattr(server_module, "MOST_VIEWERS", 2)

    async def look():
        async with looking(served.url()) as one, looking(served.url()) as two:
            await one.take()
            await two.take()
            with pytest.raises(aiohttp.WSServerHandshakeError) as error:
                async with looking(served.url()):
                    pass
            assert error.value.status == 503
        async with asyncio.timeout(SOON_S):
            while served.page.server.viewers:  # noqa: ASYNC110 - of another thread
                await asyncio.sleep(0.01)
        async with looking(served.url()) as three:
            await three.take()

    asyncio.run(look())


def test_an_error_is_counted_and_the_page_goes_on(served, monkeypatch, caplog):
    """One in making the state, one in a handler: each logged and counted, said once, and seen by
    whoever looks.
    """
    plain, broken = PageFacts.state, []

    def state(self, model, faults):
        if not broken:
            broken.append(1)
            raise RuntimeError("as planted")
        return plain(self, model, faults)

    with caplog.at_level(logging.CRITICAL):
        monkeypatch.setattr(PageFacts, "state", state)
        give_up = time.monotonic() + SOON_S
        while not broken or served.page.faults < 1:
            assert time.monotonic() < give_up
            time.sleep(0.01)
    assert "the page has met an error" in served.page.trouble()
    assert served.page.trouble() == ""
    monkeypatch.setattr(server_module, "KINDS", {"absent": "text/plain"})
    with caplog.at_level(logging.CRITICAL):
        assert get(served.url() + "absent")[0] == 500
    assert served.page.faults == 2

    async def look():
        async with looking(served.url()) as phone:
            words = "errors in this page: 2"
            await phone.until(lambda p: any(words in note for note in p.state.get("notes", [])))

    asyncio.run(look())


def test_a_page_is_made_by_the_watchers_model_alone(served):
    """The two addresses differ in the token, and hold nothing of the session."""
    assert isinstance(served.page, Page)
    assert served.page.full != served.page.read
    assert "W1" not in served.page.full
