"""Where the page's server listens, from when to when, and what it says where it cannot."""

from __future__ import annotations

import asyncio
import errno
import json
import logging
import socket
import ssl

import aiohttp
import pytest

from live.views.page.access import shown_address
from live.views.page.server import PageServer, cannot_listen
from replay.errors import SidebeatError
from replay.page import PagePlan
from tests.standins.broker import free_port
from tests.standins.feeds import two_sensors
from tests.standins.page_viewer import SOON_S, Looking, looking
from tests.standins.pages import PagedFeed, seconds, served_page

NEEDS = ("trustme",)  # imported where it is used


@pytest.fixture
def served():
    feed = PagedFeed()
    feed.put(*seconds(two_sensors(40)))
    with served_page(feed) as page:
        yield page


def test_at_the_end_every_viewer_has_the_last_state():
    """Closing waits until it has arrived; then nothing listens any more."""
    feed = PagedFeed()
    feed.put(*seconds(two_sensors(20)))

    async def look(served):
        async with looking(served.url()) as phone:
            await phone.take()
            feed.end("stopped from a view")
            await phone.until(lambda p: p.state["ended"])
            closing = asyncio.to_thread(served.close)
            task = asyncio.ensure_future(closing)
            async with asyncio.timeout(SOON_S):
                while not phone.socket.closed:
                    message = await phone.socket.receive()
                    if message.type is aiohttp.WSMsgType.TEXT:
                        told = json.loads(message.data)["n"]
                        await phone.socket.send_str(json.dumps({"seen": told}))
            await task
            return phone.state["ended"]

    with served_page(feed) as served:
        assert asyncio.run(look(served)) == "stopped from a view"
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", served.port), 1)


def test_an_unasked_end_stays_for_phones_that_come_back(monkeypatch):
    """For a while, where any phone has looked; where none has, the page goes at once."""
    feed = PagedFeed()
    slept = []
    with served_page(feed) as served:
        served.page.server.was_seen = False
        served.page.close(slept.append)
    assert slept == []


def test_a_port_that_is_taken_is_one_sentence():
    """Which names it, and another that may be free."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(SidebeatError) as error:
            served_page(PagedFeed(), port=port).__enter__()
    assert str(error.value).startswith("the page cannot be served: something listens on 127.0.0.1:")
    assert "--page 127.0.0.1:" in str(error.value)


def test_an_address_of_another_computer_is_one_sentence():
    """It says what would be right."""
    with pytest.raises(SidebeatError, match=r"'192.0.2.77' is no address of this computer"):
        served_page(PagedFeed(), address="192.0.2.77").__enter__()


def test_the_words_are_the_same_whichever_python_refuses():
    """Asyncio before 3.12 gives the system's error of the one address, later an error of its own
    without a number (``BaseEventLoop.create_server``, both in the standard library's text).
    """
    plan = PagePlan(address="192.0.2.77", port=8765)
    before = OSError(errno.EADDRNOTAVAIL, "error while attempting to bind")
    later = OSError("could not bind on any address out of [('192.0.2.77', 8765)]")
    assert cannot_listen(plan, later) == cannot_listen(plan, before)
    assert "no address of this computer" in cannot_listen(plan, later)


def test_with_a_certificate_the_page_is_encrypted(tmp_path):
    """Over https and wss alone, with a policy that says so; a broken one is one sentence."""
    import trustme

    authority = trustme.CA()
    certificate = authority.issue_cert("127.0.0.1")
    certificate.cert_chain_pems[0].write_to_path(tmp_path / "page.pem")
    certificate.private_key_pem.write_to_path(tmp_path / "page.key")
    trust = ssl.create_default_context()
    authority.configure_trust(trust)
    feed = PagedFeed()
    feed.put(*seconds(two_sensors(10)))
    files = {"cert_file": str(tmp_path / "page.pem"), "key_file": str(tmp_path / "page.key")}

    async def look(url):
        async with aiohttp.ClientSession(connector=aiohttp.TCPConnector(ssl=trust)) as session:
            async with session.get(url) as answer:
                policy = answer.headers["Content-Security-Policy"]
            async with session.ws_connect(url + "live") as opened:
                phone = Looking(opened)
                await phone.take()
                wearer = phone.state["session"]["wearer"]
        await asyncio.sleep(0.1)  # the client ends an encrypted connection behind our back
        return policy, wearer

    with served_page(feed, **files) as served:
        assert served.url().startswith("https://127.0.0.1:")
        policy, wearer = asyncio.run(look(served.url()))
    assert (f"wss://127.0.0.1:{served.port}" in policy, wearer) == (True, "W1")
    (tmp_path / "page.key").write_text("no key", encoding="ascii")
    with pytest.raises(SidebeatError, match="the page's certificate cannot be used"):
        PageServer(PagePlan(port=free_port(), **files), None, None)


def test_it_listens_on_loopback_unless_an_address_is_given(served):
    """The usual plan is this computer alone: another of its addresses answers nothing."""
    assert PagePlan().address == "127.0.0.1"
    elsewhere = shown_address("0.0.0.0")  # noqa: S104 - asked, not bound
    if elsewhere.startswith("127."):
        elsewhere = "127.0.0.2"
    with pytest.raises(OSError, match=r"refused|unreachable"):
        socket.create_connection((elsewhere, served.port), 1)


def test_a_server_that_cannot_begin_says_so(monkeypatch, caplog):
    """Whatever goes wrong there is one sentence for the watcher, which goes on without a page."""

    def fails(*_given, **_more):
        raise RuntimeError("as planted")

    monkeypatch.setattr("aiohttp.web.AppRunner", fails)
    with caplog.at_level(logging.CRITICAL), pytest.raises(SidebeatError, match="as planted"):
        served_page(PagedFeed()).__enter__()
