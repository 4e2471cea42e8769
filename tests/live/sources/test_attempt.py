"""An attempt at a broker that is cut short leaves nothing behind, and says nothing."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import itertools
import logging
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from live.sources import broker as brokers
from live.sources.attempt import brief
from live.sources.broker import new_client, tried
from replay.broker import Broker
from tests.standins.broker import running_broker
from tests.standins.told_broker import PATIENCE_S, ToldTime, on_told_time, told_broker

REFUSAL = bytes((0x20, 3, 0, 0x87, 0))
"""Of MQTT 5, section 3.2."""


@pytest.fixture
def server() -> Iterator[socket.socket]:
    """Accepts connections and has not been told to do more."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(PATIENCE_S)
        yield listening


@pytest.fixture
def complaints() -> list[dict[str, Any]]:
    """What a loop would write on the tester's terminal."""
    return []


def _begun(server: socket.socket, complaints: list[dict[str, Any]]) -> asyncio.Task[str]:
    asyncio.get_running_loop().set_exception_handler(lambda _, found: complaints.append(found))
    return asyncio.create_task(tried(Broker(host="127.0.0.1", port=server.getsockname()[1])))


async def _accepted(server: socket.socket) -> socket.socket:
    connection, _ = await asyncio.to_thread(server.accept)
    connection.settimeout(PATIENCE_S)
    return connection


async def _cut_short(task: asyncio.Task[str]) -> None:
    task.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await task


def _run(work: Any) -> None:
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(work)
    gc.collect()


@pytest.mark.parametrize("last_words", [None, b"", REFUSAL, b"HTTP/1.1 400 Bad Request\r\n"])
def test_cancelled_while_the_broker_thinks(server, complaints, last_words) -> None:
    """Whatever it says in the same moment, and if it hangs up, or goes on thinking."""

    async def work() -> None:
        task = _begun(server, complaints)
        with await _accepted(server) as connection:
            assert await asyncio.to_thread(connection.recv, 1)
            if last_words is not None:
                connection.sendall(last_words)
                connection.shutdown(socket.SHUT_WR)
            await _cut_short(task)
            for _ in range(10):  # turns of the loop: the library itself gives up after seconds
                await asyncio.sleep(0)
            assert asyncio.all_tasks() == {asyncio.current_task()}
            with contextlib.suppress(ConnectionResetError):  # of what it has not read
                while await asyncio.to_thread(connection.recv, 4096):
                    pass  # until it hangs up, too

    _run(work())
    assert complaints == []


@pytest.mark.parametrize("loop_goes_on", [True, False])
def test_cancelled_while_it_connects(server, complaints, loop_goes_on, monkeypatch) -> None:
    """What another thread connects to after that is left at once, also while the loop ends."""
    begun, may_connect = threading.Event(), threading.Event()
    connect = socket.create_connection

    def slowly(*given: Any, **named: Any) -> socket.socket:
        begun.set()
        assert may_connect.wait(PATIENCE_S)
        return connect(*given, **named)

    monkeypatch.setattr("socket.create_connection", slowly)

    async def work() -> None:
        task = _begun(server, complaints)
        assert await asyncio.to_thread(begun.wait, PATIENCE_S)
        await _cut_short(task)
        if loop_goes_on:
            may_connect.set()
            with await _accepted(server) as connection:
                assert await asyncio.to_thread(connection.recv, 1) == b""
            assert asyncio.all_tasks() == {asyncio.current_task()}
        else:
            asyncio.get_running_loop().call_soon(may_connect.set)

    _run(work())
    if not loop_goes_on:
        with server.accept()[0] as connection:
            assert connection.recv(1) == b""
    assert complaints == []


@pytest.mark.parametrize("last_words", [b"", b"HTTP/1.1 400 Bad Request\r\n"])
def test_who_is_hung_up_on_does_not_wait_for_the_answer(
    server, complaints, last_words, monkeypatch
) -> None:
    """However long a broker may take to let a client in: one that has ended the connection will
    not.
    """
    monkeypatch.setattr(brokers, "TIMEOUT_S", 10 * PATIENCE_S)

    async def work() -> None:
        task = _begun(server, complaints)
        for _ in range(2):  # in each version of MQTT
            with await _accepted(server) as connection:
                assert await asyncio.to_thread(connection.recv, 1)
                connection.sendall(last_words)
        with await _accepted(server):  # whether anybody answers
            async with asyncio.timeout(PATIENCE_S):
                assert "answers, but not in plain MQTT" in await task

    _run(work())
    assert complaints == []


def test_a_broker_that_does_not_answer_is_waited_for_as_long_as_is_said(
    server, complaints, monkeypatch
) -> None:
    """Neither for good nor not at all: in each version of MQTT, and told in a sentence."""
    monkeypatch.setattr(brokers, "TIMEOUT_S", 0.1)

    async def work() -> None:
        task = _begun(server, complaints)
        begun_s = time.monotonic()
        async with asyncio.timeout(PATIENCE_S):
            assert "answers, but not in plain MQTT" in await task
        assert time.monotonic() - begun_s >= 0.2

    _run(work())
    assert complaints == []


def test_what_the_library_says_is_not_shown_to_the_tester(caplog) -> None:
    """The sentence on the broker tells it."""

    async def work(loop: ToldTime) -> None:
        async with told_broker() as broker:
            broker.resets = True
            task = asyncio.create_task(tried(Broker(port=broker.port)))
            while not task.done():
                await asyncio.to_thread(time.sleep, 0.002)  # for whoever connects in another thread
                await loop.leap(0.1)
            assert "answers, but not in plain MQTT" in task.result()

    with caplog.at_level(logging.DEBUG):
        on_told_time(work)
    said = [one for one in caplog.records if one.name.startswith("live.")]
    assert any("reset by peer" in one.getMessage() for one in said)
    assert all(one.levelno < logging.WARNING for one in said)


def test_an_error_is_told_in_the_fewest_words_there_are() -> None:
    """The system's, else its own, else what it is called."""
    assert brief(OSError(2, "No such file", "ca.pem")) == "No such file"
    assert brief(ValueError("it is 70 bytes long")) == "it is 70 bytes long"
    assert brief(TimeoutError()) == "TimeoutError"


@pytest.mark.parametrize("asked", ["publish", "subscribe"])
def test_a_cancellation_is_never_lost_in_an_answer(tmp_path, asked) -> None:
    """At whichever turn of the loop it comes: who is to end ends, or has ended before."""

    async def work() -> int:
        client = new_client(Broker(port=broker.port), "bench", None, None)
        async with client:
            for turns in itertools.count():
                task = asyncio.create_task(getattr(client, asked)("bench/strap"))
                for _ in range(turns):
                    await asyncio.sleep(0)
                if not task.cancel():  # the answer came before
                    break
                await asyncio.wait([task])
                assert task.cancelled(), f"after {turns} turns it went on"
        client.end()
        return turns

    with running_broker(tmp_path) as broker:
        assert asyncio.run(work()) > 2
