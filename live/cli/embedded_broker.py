"""``--embedded-broker``: a small broker beside the recording, on this computer alone.

A process of its own, so that neither its work nor its end touches the capture: where it ends it is
started again, and meanwhile the sensors' links say that it is away, as of any other broker.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import logging
import os
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Final, Self

from live import preflight
from replay.broker import Broker
from replay.errors import SidebeatError

if TYPE_CHECKING:
    import psutil

    from live.capture.viewer import ViewProcess
    from replay.plan import Plan

HELP: Final = (
    "start a small broker beside the recording, for programs on this computer alone, where no "
    "other is at hand (extra 'broker')"
)
LOOPBACK: Final = "127.0.0.1"
USUAL_PORT: Final = 1883
STARTS_WITHIN_S: Final = 15.0
AGAIN_AFTER_S: Final = 1.0
LOOK_S: Final = 0.5
GRACE_S: Final = 3.0
MOST_CONNECTIONS: Final = 100


def port_of(text: str) -> int:
    """The port that an option names; an argument's type."""
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"must be a port between 1 and 65535, not {text}")
    return int(text)


def with_embedded(plan: Plan, port: int | None) -> Plan:
    """The plan with the embedded broker as its own; ``port``: 0 for the plan's, or the usual.

    Raises :class:`SidebeatError` in one sentence where it cannot be.
    """
    if port is None:
        return plan
    named = plan.broker or Broker()
    if port and plan.broker is not None and named.port not in (USUAL_PORT, port):
        raise SidebeatError(
            f"--embedded-broker {port} and port {named.port} of [broker] cannot both be: leave one "
            "of them out"
        )
    plain = replace(Broker(), port=named.port, publish=named.publish)
    if named != plain and replace(named, host=LOOPBACK) != plain:
        raise SidebeatError(
            "--embedded-broker has no login and no encryption: take them out of [broker], or leave "
            "the option out"
        )
    if named.host not in (LOOPBACK, "localhost"):
        raise SidebeatError(
            f"the plan's [broker] is at {named.host}: leave --embedded-broker out, or [broker]"
        )
    lacking = preflight.missing_packages(preflight.BROKER_PACKAGES)
    if lacking:
        raise SidebeatError(
            f"--embedded-broker needs {' and '.join(lacking)}: {preflight.install_line('broker')}"
        )
    broker = replace(named, host=LOOPBACK, port=port or named.port, embedded=True)
    with socket.socket() as trial:
        if os.name == "posix":  # elsewhere it would take a port that is in use
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((LOOPBACK, broker.port))
        except OSError:
            raise SidebeatError(
                f"--embedded-broker: something listens on {LOOPBACK}:{broker.port} already; if it "
                "is a broker, leave the option out, else give another port"
            ) from None
    return replace(plan, broker=broker)


class EmbeddedBroker:
    """The broker's process, minded from start to end of a ``with`` block.

    ``say``: takes one line.  Raises :class:`SidebeatError` if it does not begin to listen.
    """

    def __init__(self, port: int, say: Callable[[str], None]) -> None:
        self.port = port
        self._say = say
        self._process = self._begin()
        self._over = threading.Event()
        self._minder = threading.Thread(target=self._mind, name="embedded broker", daemon=True)

    def __enter__(self) -> Self:
        """Wait until it listens."""
        give_up = time.monotonic() + STARTS_WITHIN_S
        while not _listens(self.port):
            how = self._process.ended()
            if how is not None or time.monotonic() > give_up:
                self._process.let_go(0.0)
                why = f"it {how}" if how is not None else "it does not begin to listen"
                raise SidebeatError(f"the embedded broker could not be started: {why}")
            time.sleep(0.05)
        self._minder.start()
        return self

    def __exit__(self, *_: object) -> None:
        """End it."""
        self._over.set()
        self._minder.join()
        self._process.let_go(0.0)

    @property
    def pid(self) -> int:
        """Process number of the broker."""
        return self._process.pid

    def _begin(self) -> ViewProcess:
        from live.capture.viewer import ViewProcess  # noqa: PLC0415 - see live.cli.main

        return ViewProcess(["live", "--be-broker", str(self.port), str(os.getpid())])

    def _mind(self) -> None:
        while not self._over.wait(LOOK_S):
            how = self._process.ended()
            if how is None:
                continue
            self._say(f"The embedded broker {how}; it is started again, and the capture goes on.")
            if self._over.wait(AGAIN_AFTER_S):
                return
            with contextlib.suppress(OSError):
                self._process = self._begin()


def be_broker(port: int, parent: int) -> int:
    """Be that process, for as long as the one that started it lives."""
    import signal  # noqa: PLC0415 - of this process alone

    import psutil  # noqa: PLC0415 - comes with the broker

    try:
        starter = psutil.Process(parent)
    except psutil.NoSuchProcess:
        return 0
    # Ctrl-C reaches this process too; the capture still reads from it while it ends.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("amqtt", "asyncio", "transitions"):  # they tell of each client that goes
        logging.getLogger(name).setLevel(logging.CRITICAL)
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(_serve(port, starter))
    return 0


async def _serve(port: int, parent: psutil.Process) -> None:
    from amqtt.broker import Broker as Amqtt  # noqa: PLC0415 - an extra

    listener = {
        "type": "tcp",
        "bind": f"{LOOPBACK}:{port}",
        "max_connections": MOST_CONNECTIONS,
    }
    # Nobody but programs of this computer can reach it.
    anyone = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
    broker = Amqtt({"listeners": {"default": listener}, "plugins": anyone})
    await broker.start()
    while _lives(parent):  # noqa: ASYNC110 - another process tells no event
        await asyncio.sleep(LOOK_S)
    await broker.shutdown()


def _lives(process: psutil.Process) -> bool:
    import psutil  # noqa: PLC0415 - as above

    # One that was killed, and that nobody has asked after yet, is a zombie.
    with contextlib.suppress(psutil.NoSuchProcess):
        return bool(process.is_running() and process.status() != psutil.STATUS_ZOMBIE)
    return False


def _listens(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection((LOOPBACK, port), 1.0):
        return True
    return False
