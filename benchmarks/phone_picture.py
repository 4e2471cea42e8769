"""The picture of the page for the phone in the documents, made again by ``make pictures``.

A real browser at a phone's size opens the page of a recorded, invented session at one moment, once
light and once dark; both stand side by side.
"""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import Final

from PIL import Image

from live.protocol.feed import Message
from live.protocol.file_feed import FileFeed
from replay.demo_files import demo_captures
from tests.standins.pages import served_page
from tests.standins.phone import running_phone

MADE: Final = Path("docs/pictures/phone.png")
AT_S: Final = 885.0
GAP: Final = 24
_READY: Final = "document.querySelectorAll('.row').length == 4 && document.querySelector('.filled')"


class AsRecorded:
    """A player that the page takes for a capture."""

    is_live: Final = True
    silent_s: Final = 0.0

    def __init__(self, path: Path, at_s: float) -> None:
        self._feed = FileFeed(path, speed=None)
        self._feed.pause()
        self._feed.seek(round(at_s * 1e9))
        self.plan = self._feed.plan
        self.title = self._feed.title
        self.started_utc_ns = self._feed.started_utc_ns

    def poll(self) -> list[Message]:
        """What there is up to the moment."""
        return self._feed.poll()

    def send(self, action: str, **values: str | int) -> int:
        """Nothing can be asked of a picture."""
        del action, values
        return 0

    def close(self) -> None:
        """Let go of the file."""
        self._feed.close()


def main() -> None:
    """Make it."""
    feed = AsRecorded(demo_captures()[0], AT_S)
    pictures = []
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        with served_page(feed) as served, running_phone(folder) as phone:
            for dark in (False, True):
                tab = phone.open(served.url(), dark=dark)
                tab.until(_READY, "rows")
                tab.until("document.querySelector('#caption').textContent", "drawing")
                file = tab.picture(folder / f"{dark}.png")
                pictures.append(Image.open(io.BytesIO(file.read_bytes())))
    feed.close()
    width = sum(one.width for one in pictures) + GAP
    side = Image.new("RGB", (width, pictures[0].height), "white")
    side.paste(pictures[0], (0, 0))
    side.paste(pictures[1], (width - pictures[1].width, 0))
    side.quantize(128).save(MADE, optimize=True)
    print(MADE)


if __name__ == "__main__":
    main()
