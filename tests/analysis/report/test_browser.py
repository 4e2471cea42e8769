"""The page in a real browser, at the widths of phone, tablet and desktop."""

from __future__ import annotations

import pytest

from analysis.report.figures import FIGURES
from replay.demo_files import demo_captures
from tests.standins.browser import CONTROL, browser
from tests.standins.demo_pages import WIDTHS, demo_pages

pytestmark = [
    pytest.mark.skipif(browser() is None, reason="no Chromium is installed"),
    pytest.mark.timeout(180),
]


@pytest.fixture(params=range(len(demo_captures())), ids=lambda at: demo_captures()[at].stem[16:20])
def seen(request):
    """What the browser says of one demo page, by width."""
    found = demo_pages().seen[request.param]
    assert [one["width"] for one in found] == list(WIDTHS)
    return found


def test_nothing_is_complained_of():
    """The console says nothing but the control line: nothing fails, nothing is blocked."""
    console = demo_pages().console
    assert [line for line in console if CONTROL not in line] == []
    assert len(console) == 1


def test_nothing_runs_over(seen):
    """At no width the page is wider than its window, no table than its box, no word than its cell,
    and nothing has to be pushed aside to be read.
    """
    for found in seen:
        assert (found["scroll_width"] <= found["width"], found["wide"]) == (True, [])
        assert (found["width"], found["hidden"], found["outside"]) == (found["width"], [], [])


def test_each_figure_is_shown_once(seen):
    """At each width every figure is seen once, in the form for that width."""
    for found in seen:
        assert found["pictures"] == [kind.title for kind in FIGURES]


def test_words_in_figures_are_whole_and_apart(seen):
    """No label in a figure is cut by its edge or lies on another one."""
    for found in seen:
        assert (found["width"], found["cut"], found["overlap"]) == (found["width"], [], [])


def test_words_in_figures_can_be_read(seen):
    """The smallest words in a figure have 7 CSS pixels on a phone and 9 on a desktop, or more."""
    small = {found["width"]: found["small"] for found in seen}
    assert (small[360] >= 7, small[1280] >= 9) == (True, True), small
