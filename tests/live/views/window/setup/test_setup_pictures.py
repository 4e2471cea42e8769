"""The documentation's picture of the set-up page."""

from __future__ import annotations

import pytest

from live.views.window.parts.theme import DARK
from live.views.window.setup.pictures import main, setup_picture


def test_the_documented_picture_is_made(tmp_path):
    """Without options, the one picture of the documentation is written."""
    assert main(["--out", str(tmp_path)]) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["set-up.png"]


@pytest.mark.parametrize("checks", [False, True])
def test_a_picture_has_the_size_that_was_asked_for(checks):
    """Each page is drawn in the size that was asked for, and not in one colour."""
    picture = setup_picture((1280, 720), DARK, checks=checks).toImage()
    assert (picture.width(), picture.height()) == (1280, 720)
    colours = {picture.pixel(x, y) for x in range(0, 1280, 4) for y in range(0, 720, 4)}
    assert len(colours) > 20
