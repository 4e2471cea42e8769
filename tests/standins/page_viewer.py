"""Phones that are programs: they ask for the page, and follow it as its script does."""

from __future__ import annotations

import asyncio
import contextlib
import json

import aiohttp
import pytest

SOON_S = 10.0


def get(url, **headers):
    """Status, headers and text of one request."""

    async def ask():
        async with (
            aiohttp.ClientSession() as session,
            session.get(url, headers=headers, allow_redirects=False) as answer,
        ):
            return answer.status, answer.headers, await answer.text()

    return asyncio.run(ask())


class Looking:
    """A phone that is a program: it keeps the state as the page's script does."""

    def __init__(self, socket):
        self.socket = socket
        self.state = {}
        self.points = []
        self.answers = []
        self.messages = 0

    async def take(self, *, seen=True):
        message = await asyncio.wait_for(self.socket.receive(), SOON_S)
        assert message.type is aiohttp.WSMsgType.TEXT, message
        told = json.loads(message.data)
        self.messages += 1
        self.state |= told.get("set", {})
        for key in told.get("gone", []):
            del self.state[key]
        if told.get("afresh"):
            self.points = []
        self.points += told.get("points", [])
        self.answers += told.get("answers", [])
        if seen:
            await self.socket.send_str(json.dumps({"seen": told["n"]}))
        return told

    async def until(self, condition):
        async with asyncio.timeout(SOON_S):
            while not condition(self):
                await self.take()

    async def ask(self, **request):
        await self.socket.send_str(json.dumps(request))


@contextlib.asynccontextmanager
async def looking(url, **headers):
    async with (
        aiohttp.ClientSession() as session,
        session.ws_connect(url + "live", headers=headers) as socket,
    ):
        yield Looking(socket)


def refused(url, **headers):
    """Status with which a WebSocket is refused."""

    async def ask():
        async with looking(url, **headers):
            raise AssertionError("let in")

    with pytest.raises(aiohttp.WSServerHandshakeError) as error:
        asyncio.run(ask())
    return error.value.status
