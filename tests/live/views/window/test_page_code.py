"""The page's code in the window: where it is offered, what it draws, which address it shows."""

from __future__ import annotations

from dataclasses import replace

import segno  # noqa: F401 - an extra, without which this module is skipped
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication

from live.protocol.feed import CaptureStatus
from live.views.shared.qr import qr_matrix
from live.views.window.parts.keys import Action
from live.views.window.parts.page_code import PageCode
from tests.standins.windows import picture, press, session, shown

PAGE = CaptureStatus(
    "/d/x.sqlite", 61, 60, 0.2, 1,
    page="http://192.168.1.20:8765/full/", page_to_look="http://192.168.1.20:8765/look/",
)  # fmt: skip


def squares(code):
    """What is dark in the picture, square by square."""
    image = code.picture.grab().toImage()
    side = len(qr_matrix(code.shown))
    step = image.width() / side
    return [
        [
            image.pixelColor(int((x + 0.5) * step), int((y + 0.5) * step)) == QColor("black")
            for x in range(side)
        ]
        for y in range(side)
    ]


def test_the_code_is_offered_where_a_page_is_served():
    """By its key and in the menu; the address for looking is a tick away, each with its code."""
    with shown([*session(10), PAGE]) as (window, _):
        assert window.is_able(Action.PAGE)
        assert "page for the phone: Ctrl+K" in window.status_line.capture.text()
        press(window, "Ctrl+K")
        code = window.filing.page
        assert isinstance(code, PageCode)
        assert code.isVisible()
        assert code.address.text() == PAGE.page
        assert squares(code) == qr_matrix(PAGE.page)
        code.look_only.setChecked(True)
        QApplication.processEvents()
        assert code.address.text() == PAGE.page_to_look
        assert squares(code) == qr_matrix(PAGE.page_to_look)
        code.accept()


def test_without_a_page_the_key_says_how_to_have_one():
    """No empty dialog."""
    with shown([*session(10), replace(PAGE, page="", page_to_look="")]) as (window, _):
        assert not window.is_able(Action.PAGE)
        press(window, "Ctrl+K")
        picture(window)
        assert window.filing.page is None
        assert "no page is served" in window.header.notice.text()
