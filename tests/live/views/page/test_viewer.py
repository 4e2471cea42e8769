"""What one phone is sent, and when that ends."""

from __future__ import annotations

import asyncio
import json

import pytest
from aiohttp import WSMessage, WSMsgType

from live.views.page.access import Right
from live.views.page.viewer import Viewer


class _Phone:
    """A connection whose other end says that it has seen whatever it is sent."""

    def __init__(self) -> None:
        self.said: asyncio.Queue[WSMessage] = asyncio.Queue()

    async def send_str(self, text: str) -> None:
        seen = json.dumps({"seen": json.loads(text)["n"]})
        self.said.put_nowait(WSMessage(WSMsgType.TEXT, seen, None))

    def __aiter__(self) -> _Phone:
        return self

    async def __anext__(self) -> WSMessage:
        return await self.said.get()


@pytest.mark.parametrize("turns", [0, 1, 2])
def test_a_phone_that_is_let_go_as_news_comes_is_let_go(turns):
    """Whichever of the two the loop sees first."""

    async def look() -> bool:
        viewer = Viewer(_Phone(), Right.READ, lambda _request, _answer: None)
        hears = asyncio.ensure_future(viewer.hear())
        sends = asyncio.ensure_future(viewer.send())
        await asyncio.wait_for(viewer.has_all.wait(), 5)
        await asyncio.sleep(0.02)
        viewer.show({"second": 1}, [])
        for _ in range(turns):
            await asyncio.sleep(0)
        sends.cancel()
        done, _ = await asyncio.wait({sends}, timeout=2)
        for task in (sends, hears):
            task.cancel()
        return bool(done)

    assert asyncio.run(look())
