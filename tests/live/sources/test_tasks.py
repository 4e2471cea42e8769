"""Several tasks that serve until they are ended."""

from __future__ import annotations

import asyncio

import pytest

from live.sources.tasks import until_one_fails


async def _serve(ended: list[str], takes_s: float = 0.0) -> None:
    try:
        await asyncio.Event().wait()
    finally:
        await asyncio.sleep(takes_s)
        ended.append("in full")


def test_each_is_cancelled_once_by_whoever_waits():
    """What ends because of it may take its time, however soon the others have ended."""

    async def run() -> list[str]:
        ended: list[str] = []
        tasks = [asyncio.ensure_future(_serve(ended, takes_s)) for takes_s in (0.0, 0.05)]

        async def source() -> None:
            try:
                await until_one_fails(tasks)
            finally:
                ended.append("told")
                for task in tasks:
                    task.cancel()
                await asyncio.wait(tasks)

        running = asyncio.ensure_future(source())
        await asyncio.sleep(0.01)
        running.cancel()
        with pytest.raises(asyncio.CancelledError):
            await running
        return ended

    assert asyncio.run(run()) == ["told", "in full", "in full"]


def test_what_one_raises_is_raised():
    """The others go on until they are ended."""

    async def run() -> bool:
        async def fail() -> None:
            raise LookupError("a defect")

        serving = asyncio.ensure_future(_serve([]))
        with pytest.raises(LookupError, match="a defect"):
            await until_one_fails([serving, asyncio.ensure_future(fail())])
        goes_on = not serving.done()
        serving.cancel()
        await asyncio.wait({serving})
        return goes_on

    assert asyncio.run(run())


def test_it_is_over_when_all_have_ended():
    """One that returns is no reason to end the others."""

    async def run() -> list[str]:
        said: list[str] = []

        async def say(word: str, after_s: float) -> None:
            await asyncio.sleep(after_s)
            said.append(word)

        await until_one_fails([asyncio.ensure_future(say(*one)) for one in (("a", 0), ("b", 0.02))])
        return said

    assert asyncio.run(run()) == ["a", "b"]
