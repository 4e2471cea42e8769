"""The page on paper, as a real browser prints it."""

from __future__ import annotations

import numpy as np
import pypdfium2
import pytest

from replay.demo_files import demo_captures
from tests.standins.browser import browser
from tests.standins.demo_pages import demo_pages

pytestmark = [
    pytest.mark.skipif(browser() is None, reason="no Chromium is installed"),
    pytest.mark.timeout(180),
]

MOST_PAGES = 8
"""Of a session with three test sensors."""

LEAST_FILLED = 0.5
"""How far down a page must be written on; the last one ends with the cautions."""


@pytest.fixture(
    scope="module",
    params=range(len(demo_captures())),
    ids=lambda at: demo_captures()[at].stem[16:20],
)
def pages(request):
    """Each printed page of a demo report as grey values, 36 dots an inch."""
    document = pypdfium2.PdfDocument(demo_pages().printed[request.param])
    found = [np.asarray(page.render(scale=0.5).to_pil().convert("L")) for page in document]
    document.close()
    return found


def _inked_rows(page):
    return np.flatnonzero((page < 200).any(axis=1))


def test_the_report_is_a_few_pages(pages):
    """A report of three test sensors takes six to eight pages of A4."""
    assert 6 <= len(pages) <= MOST_PAGES
    height, width = pages[0].shape
    assert height / width == pytest.approx(297 / 210, abs=0.01)


def test_no_page_is_nearly_empty(pages):
    """Every page is written on to below its middle, and in at least a third of its rows."""
    for number, page in enumerate(pages, 1):
        rows = _inked_rows(page)
        down, share = rows[-1] / len(page), len(rows) / len(page)
        assert (number, down >= LEAST_FILLED, share >= 0.33) == (number, True, True), (down, share)


def test_nothing_is_cut_at_the_edge(pages):
    """The margins stay white: nothing runs off the paper."""
    for page in pages:
        margin = round(0.045 * page.shape[1])
        assert page[:, :margin].min() > 200
        assert page[:, -margin:].min() > 200
