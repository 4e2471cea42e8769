"""The page in a real browser at a phone's size, in both themes, over a network that is cut."""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time

import pytest

from live.protocol.alarm import Alarm
from live.protocol.feed import Tick
from live.views.shared.palette import DARK, LIGHT
from replay.event import NS_PER_S
from tests.standins.browser import browser
from tests.standins.feeds import two_sensors
from tests.standins.page_viewer import looking
from tests.standins.pages import PagedFeed, seconds, served_page
from tests.standins.phone import HEIGHT, WIDTH, running_phone, until
from tests.standins.proxy import running_proxy

pytestmark = [
    pytest.mark.skipif(browser() is None, reason="needs Chromium"),
    pytest.mark.timeout(150),
]


@pytest.fixture(scope="module")
def browser_of_all(tmp_path_factory):
    with running_phone(tmp_path_factory.mktemp("phone")) as running:
        yield running


@pytest.fixture
def phone(browser_of_all):
    yield browser_of_all
    browser_of_all.leave()


def well():
    feed = PagedFeed()
    feed.put(*seconds(two_sensors(120)))
    return feed


def silent():
    """The test sensor says nothing any more."""
    feed = PagedFeed()
    kept = [e for e in two_sensors(90) if e.sensor != 2 or e.t_ns < 40 * NS_PER_S]
    feed.put(*seconds(kept))
    return feed


def rgb(colour):
    return f"rgb({int(colour[1:3], 16)}, {int(colour[3:5], 16)}, {int(colour[5:], 16)})"


def colour_of(tab, selector, what="backgroundColor"):
    return tab.ask(f"getComputedStyle(document.querySelector({selector!r})).{what}")


@contextlib.contextmanager
def proxied(port):
    """A proxy in front of a port, and how to call a method of it."""
    made, over, found = threading.Event(), asyncio.Event(), []

    async def run():
        async with running_proxy(port) as proxy:
            found.extend((proxy, asyncio.get_running_loop().call_soon_threadsafe))
            made.set()
            await over.wait()

    thread = threading.Thread(target=lambda: asyncio.run(run()))
    thread.start()
    made.wait(10)
    try:
        yield found
    finally:
        found[1](over.set)
        thread.join()


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
def test_all_well_fits_a_phone_in_both_themes(phone, theme):
    """Large values in the project's colours, nothing to be scrolled sideways, no complaint of the
    browser, and nothing loaded from elsewhere.
    """
    with served_page(well()) as served:
        tab = phone.open(served.url(), dark=theme is DARK)
        tab.until("document.querySelectorAll('.row').length == 2", "rows")
        assert tab.text_of(".row:nth-child(2) .label") == "Sorrel"
        assert tab.text_of(".row:nth-child(2) .call").startswith("IN")
        assert tab.ask("document.querySelector('.bpm').getBoundingClientRect().height") > 60
        assert tab.ask("document.documentElement.scrollWidth") <= WIDTH
        assert tab.ask("document.documentElement.scrollHeight") <= HEIGHT
        assert colour_of(tab, "body") == rgb(theme.panel)
        assert colour_of(tab, ".bpm", "color") == rgb(theme.ink)
        assert drawn(tab, theme.band) > 1000
        assert {address.split("/")[2] for address in tab.asked_for()} == {
            f"127.0.0.1:{served.port}"
        }
        assert tab.complaints() == []


def drawn(tab, colour):
    """How many points of the drawing have this colour."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    canvas = "document.querySelector('canvas')"
    return tab.ask(
        "(c => { const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
        f"let n = 0; for (let i = 0; i < d.length; i += 4) n += d[i] == {red} && "
        f"d[i + 1] == {green} && d[i + 2] == {blue}; return n; }})({canvas})"
    )


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
def test_a_fault_fills_its_row_until_it_is_known(phone, theme):
    """Two large words and what to do, filled with the severity's colour; a finger on "known" goes
    to the capture, and the row says so.
    """
    with served_page(silent()) as served:
        tab = phone.open(served.url(), dark=theme is DARK)
        tab.until("document.querySelector('.row.filled')", "fault")
        assert tab.text_of(".row.filled .large") == "WAKE SORREL"
        assert "the screen of the recording says more" in tab.text_of(".row.filled .advice")
        assert colour_of(tab, ".row.filled") == rgb(theme.caution)
        assert tab.ask("document.title") == "WAKE SORREL"
        assert "Sorrel, since" in tab.text_of("#warnings")
        tab.press("#known")
        tab.until("!document.querySelector('.row.filled')", "known fault")
        assert tab.text_of(".row:nth-child(2) .advice").startswith("(known)")
        assert served.feed.sent == [("acknowledge", {"sensor": 2, "kind": "silent"})]
        assert tab.ask("document.querySelector('#known').disabled") is True
        assert tab.complaints() == []


def test_a_marker_is_one_press(phone):
    """The button is a thumb wide; its answer stands above for a while."""
    with served_page(well()) as served:
        tab = phone.open(served.url())
        tab.until("document.querySelector('#buttons')?.hidden === false", "buttons")
        width, height = tab.ask(
            "(b => [b.width, b.height])(document.querySelector('#marker').getBoundingClientRect())"
        )
        assert (width > 150, height > 60) == (True, True)
        tab.press("#marker")
        tab.until("document.querySelector('#words').innerText == 'marked'", "answer")
        ((action, values),) = served.feed.sent
        assert (action, values["text"]) == ("marker", "marker 2")
        assert 0 <= values["ago_ms"] < 10_000


def test_a_cut_is_seen_and_mends_by_itself(phone):
    """Nothing old stands as if it were of now, since when is said; what was pressed meanwhile is
    kept with its moment; the page comes back without a finger.
    """
    with served_page(well()) as served, proxied(served.port) as (proxy, call):
        tab = phone.open(served.url(proxy.port))
        tab.until("document.querySelectorAll('.row').length == 2", "rows")
        assert tab.text_of(".row .bpm") != "–"
        call(proxy.cut)
        tab.until("document.body.classList.contains('cut')", "cut")
        assert "CUT OFF\nsince " in tab.text_of("#banner")
        assert {tab.text_of(f".row:nth-child({n}) .bpm") for n in (1, 2)} == {"–"}
        assert tab.text_of("#time") == "–"
        assert tab.ask("document.title") == "CUT OFF"
        tab.press("#marker")
        assert tab.text_of("#words") == "kept: sent when the page is back"
        time.sleep(0.5)
        call(proxy.mend)
        served.feed.put(*seconds(two_sensors(124))[-9:])
        tab.until("!document.body.classList.contains('cut')", "news")
        tab.until("document.querySelector('.row .bpm').innerText != '–'", "values")
        until(lambda: served.feed.sent, "the marker of meanwhile")
        ((action, values),) = served.feed.sent
        assert (action, values["ago_ms"] >= 500) == ("marker", True)


def test_a_connection_that_dies_without_a_word_is_noticed(phone):
    """A network that swallows everything ends nothing; the page notices by the silence."""
    with served_page(well()) as served, proxied(served.port) as (proxy, _):
        tab = phone.open(served.url(proxy.port))
        tab.until("document.querySelectorAll('.row').length == 2", "rows")
        proxy.back_s = 30.0
        tab.until("document.body.classList.contains('cut')", "cut")
        proxy.back_s = 0.0


def test_an_unasked_end_is_the_loudest_thing(phone):
    """A banner over all, every value gone; once known it is framed, and it stays when the server
    has gone.
    """
    feed = well()
    with served_page(feed) as served:
        tab = phone.open(served.url())
        tab.until("document.querySelectorAll('.row').length == 2", "rows")
        feed.end("the capture failed", Alarm("RECORDING ENDED", "x holds 7", "Begin a new one."))
        tab.until("!document.querySelector('#banner').hidden", "banner")
        assert tab.text_of("#headline") == "RECORDING ENDED"
        assert tab.text_of("#sentence").startswith("Begin a new one.")
        assert colour_of(tab, "#banner") == rgb(LIGHT.alarm)
        assert tab.text_of(".row .bpm") == "–"
        tab.press("#known")
        tab.until("document.querySelector('#banner').className == 'known'", "known alarm")
    time.sleep(1.2)
    assert tab.text_of("#headline") == "RECORDING ENDED"
    assert tab.ask("document.body.classList.contains('cut')") is False


def test_an_end_that_was_asked_for_is_said_quietly(phone):
    """With its reason, and without an alarm's colour."""
    feed = well()
    with served_page(feed) as served:
        tab = phone.open(served.url())
        tab.until("document.querySelectorAll('.row').length == 2", "rows")
        feed.end("stopped from a view")
        tab.until("document.querySelector('#headline').innerText == 'ENDED'", "end")
        assert tab.text_of("#sentence") == "The recording has ended: stopped from a view."
        assert colour_of(tab, "#banner") == rgb(LIGHT.ground)
        assert tab.ask("document.querySelector('#marker').disabled") is True


def test_a_wrong_token_shows_one_sentence_and_nothing_else(phone):
    """Nothing of the session, and no buttons."""
    with served_page(well()) as served:
        tab = phone.open(f"http://127.0.0.1:{served.port}/{'x' * 22}/")
        tab.until("document.body && document.body.innerText", "sentence")
        assert tab.text.startswith("This address opens nothing here, or no longer")
        assert "Yarrow" not in tab.text


def test_the_address_for_looking_has_no_buttons(phone):
    """All is seen; nothing can be pressed, and the page says why."""
    with served_page(silent()) as served:
        tab = phone.open(served.url(read=True))
        tab.until("document.querySelector('.row.filled')", "fault")
        assert tab.ask("document.querySelector('#buttons').hidden") is True
        assert "for looking only" in tab.text_of("#notes")


def test_text_from_outside_stays_text(phone):
    """A label that would be markup is shown as it is, and loads nothing."""
    feed = PagedFeed()
    hostile = '<img src=x onerror="document.title=1">'
    feed.plan = feed.plan.relabelled(2, hostile)
    feed.put(*seconds(two_sensors(30)))
    with served_page(feed) as served:
        tab = phone.open(served.url())
        tab.until("document.querySelectorAll('.row').length == 2", "rows")
        assert tab.ask("document.querySelector('.row:nth-child(2) .label').textContent") == hostile
        assert tab.ask("document.querySelectorAll('.row img').length") == 0
        assert tab.complaints() == []


def test_the_screen_is_kept_awake_where_the_browser_lets_it(phone):
    """On this computer's own address, a secure context, the lock is asked for.  Where it is not to
    be had the page says what to do.
    """
    with served_page(well()) as served:
        tab = phone.open(served.url())
        tab.until("document.querySelectorAll('.row').length == 2", "rows")
        assert tab.ask("isSecureContext && 'wakeLock' in navigator") is True
        words = tab.text_of("#notes")
        assert words in ("", "the screen may go dark: the phone does not allow it to stay on")


def test_twenty_phones_see_the_same(phone):
    """Each has the newest second; the watcher's own turn is not held up by them.  Three are
    browsers, the others programs that take and answer as the page's script does.
    """
    feed = well()
    with served_page(feed) as served:
        tabs = [phone.open(served.url(read=n % 2 == 1)) for n in range(3)]
        for tab in tabs:
            tab.until("document.querySelectorAll('.row').length == 2", "rows")

        async def look():
            async with contextlib.AsyncExitStack() as beside:
                programs = [
                    await beside.enter_async_context(looking(served.url(read=n % 2 == 1)))
                    for n in range(17)
                ]
                for one in programs:
                    await one.take()
                assert served.page.server.viewers == 20
                feed.put(*seconds(two_sensors(131)))
                feed.put(Tick(140 * NS_PER_S))
                for one in programs:
                    await one.until(lambda one: one.state["time"] == "2:20")
                for tab in tabs:
                    tab.until("document.querySelector('#time').innerText == '2:20'", "the newest")

        asyncio.run(look())
        assert served.page.faults == 0
