"""The moving picture of the README: ``python -m live.views.window.moving_picture``.

The window on an invented recording while the strap dries, loses the skin and is wetted, a frame
every few seconds of the session, as an animated PNG.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import QBuffer, QIODevice, QSize, Qt
from PySide6.QtGui import QImage

from live.protocol.file_feed import FileFeed
from live.views.window.app import window_on
from live.views.window.parts.application import open_application
from live.views.window.parts.keys import Action
from live.views.window.parts.theme import LIGHT
from live.views.window.screenshots import PICTURES, as_recorded, drawn
from replay.demo_files import demo_captures
from replay.errors import SidebeatError

_FROM_S: Final = 476
_TO_S: Final = 584
_STEP_S: Final = 6
_FRAME_MS: Final = 350
_LAST_MS: Final = 2500
_WINDOW: Final = QSize(1280, 720)
_WIDTH: Final = 880
_COLOURS: Final = 48


def frames() -> Iterator[QImage]:
    """The window, every few seconds of the session."""
    open_application()
    feed = FileFeed(demo_captures()[0], speed=None)
    feed.pause()
    window = window_on(as_recorded(feed), LIGHT)
    window.resize(_WINDOW)
    window.cautions.setVisible(False)
    window.show()
    try:
        for at_s in range(_FROM_S, _TO_S + 1, _STEP_S):
            feed.seek(at_s * 10**9)
            if at_s == _FROM_S:
                window.do(Action.FIVE)
            picture = drawn(window).toImage()
            yield picture.scaledToWidth(_WIDTH, Qt.TransformationMode.SmoothTransformation)
    finally:
        window.leave()


def write(path: Path) -> None:
    """Make the picture.  Raises :class:`SidebeatError` where Pillow is missing."""
    try:
        from PIL import Image  # noqa: PLC0415 - comes with the extra ``report``
    except ImportError:
        raise SidebeatError("the moving picture needs the extra 'report'") from None
    images = []
    for frame in frames():
        buffer = QBuffer()
        buffer.open(QIODevice.OpenModeFlag.WriteOnly)
        frame.save(buffer, "PNG")  # type: ignore[call-overload]
        images.append(Image.open(io.BytesIO(buffer.data().data())).convert("RGB"))
    # One palette for all: a colour that flickers would look like a change.
    palette = images[len(images) // 2].quantize(_COLOURS)
    small = [image.quantize(palette=palette, dither=Image.Dither.NONE) for image in images]
    times = [_FRAME_MS] * (len(small) - 1) + [_LAST_MS]
    small[0].save(path, save_all=True, append_images=small[1:], duration=times, loop=0)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make it; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m live.views.window.moving_picture")
    parser.add_argument("--out", type=Path, default=PICTURES / "strap-dries.png")
    given = parser.parse_args(arguments)
    write(given.out)
    print(given.out)
    return 0


if __name__ == "__main__":
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    try:
        sys.exit(main())
    except SidebeatError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
