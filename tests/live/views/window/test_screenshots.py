"""Pictures made from captures without a screen."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtGui import QColor, QImage

from live.views.window.parts.keys import Action
from live.views.window.parts.theme import DARK, LIGHT
from live.views.window.screenshots import Picture, main, screenshot
from replay.errors import CaptureError
from tests.standins.feeds import two_sensors, written


def colours(image: QImage) -> set[str]:
    """Colours that occur on a raster of points."""
    plain = image.convertToFormat(QImage.Format.Format_RGB32)
    points = np.array(plain.constBits()).view("<u4").reshape(plain.height(), -1)[::3, ::3]
    return {QColor(int(colour)).name() for colour in np.unique(points)}


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
def test_a_picture_shows_the_session_up_to_its_moment(tmp_path, theme):
    """Band, line and text of the theme are in a picture of the size that was asked for."""
    path = written(tmp_path / "x.sqlite", two_sensors(120), end_s=120)
    image = screenshot(path, 90, Picture(size=(1280, 720), theme=theme)).toImage()
    assert (image.width(), image.height()) == (1280, 720)
    assert {theme.ground, theme.panel, theme.band, theme.sensors[0]} <= colours(image)


def test_the_far_view_is_another_picture(tmp_path):
    """The far view has large shapes and digits, and the band as long as all is well."""
    path = written(tmp_path / "x.sqlite", two_sensors(120), end_s=120)
    far = screenshot(path, 90, Picture(far=True)).toImage()
    usual = screenshot(path, 90, Picture()).toImage()
    assert far != usual
    assert {LIGHT.ink, LIGHT.sensors[0], LIGHT.band} <= colours(far)


def test_deeds_are_done_before_the_picture_is_taken(tmp_path):
    """A picture can show what the user would see after some keys."""
    path = written(tmp_path / "x.sqlite", two_sensors(400), end_s=400)
    usual, minute = (
        screenshot(path, 350, Picture(actions=actions)).toImage()
        for actions in ((), (Action.MINUTE,))
    )
    assert usual != minute


def test_the_command_writes_what_it_names(tmp_path, capsys):
    """Each picture is written where its line says."""
    path = written(tmp_path / "x.sqlite", two_sensors(60), end_s=60)
    out = tmp_path / "pictures"
    given = [str(path), "--at", "50", "--out", str(out), "--size", "1280x720", "--theme", "dark"]
    assert main(given) == 0
    named = capsys.readouterr().out.split()
    assert named == [str(out / "window-dark-1280x720.png")]
    assert QImage(named[0]).width() == 1280


def test_a_file_that_is_no_capture_is_refused(tmp_path):
    """Anything but a capture gives the reader's own sentence."""
    stray = tmp_path / "x.sqlite"
    stray.write_text("hello")
    with pytest.raises(CaptureError):
        screenshot(stray, 1, Picture())
