"""A real mosquitto on a free port of the loopback interface, started, killed and started again."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

_PROGRAM = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin:/opt/homebrew/sbin")
_STARTED_WITHIN_S = 15.0


class Broker:
    """One broker with a configuration of its own; ``settings``: more lines of it."""

    def __init__(self, folder: Path, settings: str = "allow_anonymous true") -> None:
        if _PROGRAM is None:
            pytest.skip("needs mosquitto (apt-get install mosquitto)")
        self.port = free_port()
        self._settings = settings
        self._configuration = folder / "mosquitto.conf"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it listens."""
        assert _PROGRAM is not None
        self._configuration.write_text(
            f"listener {self.port} 127.0.0.1\n"
            "set_tcp_nodelay true\n"
            "persistence false\n"
            "log_dest none\n"
            # As root it would become another user, who cannot read a test's folder.
            f"{'user root' if _is_root() else ''}\n"
            f"{self._settings}\n"
        )
        self._process = subprocess.Popen(
            [_PROGRAM, "-c", str(self._configuration)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until = time.monotonic() + _STARTED_WITHIN_S
        while time.monotonic() < until:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port)):
                return
            time.sleep(0.02)
        raise RuntimeError("mosquitto did not start")

    def kill(self) -> None:
        """End it without a word to its clients."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    @contextlib.contextmanager
    def publisher(self) -> Iterator[Publisher]:
        """A client that publishes, in a thread of its own."""
        publisher = Publisher(self.port)
        try:
            yield publisher
        finally:
            publisher.close()


class Publisher:
    """Publishes to the broker on a port."""

    def __init__(self, port: int, username: str = "", password: str = "") -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        if username:
            self._client.username_pw_set(username, password)
        self._client.connect("127.0.0.1", port)
        sock = self._client.socket()
        assert sock is not None
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client.loop_start()

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Publish at least once and wait until the broker has it."""
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)

    def shout(self, topic: str, payload: bytes) -> None:
        """Publish without waiting."""
        self._client.publish(topic, payload)

    def close(self) -> None:
        """Leave the broker."""
        self._client.disconnect()
        self._client.loop_stop()


@contextlib.contextmanager
def running_broker(folder: Path, settings: str = "allow_anonymous true") -> Iterator[Broker]:
    """A broker for the length of a ``with`` block."""
    broker = Broker(folder, settings)
    try:
        broker.start()
        yield broker
    finally:
        broker.kill()


def password_file(folder: Path, username: str, password: str) -> Path:
    """A file of one login, as mosquitto's ``password_file`` wants it."""
    program = shutil.which("mosquitto_passwd")
    if program is None:
        pytest.skip("needs mosquitto_passwd (apt-get install mosquitto)")
    file = folder / "passwords"
    file.write_text(f"{username}:{password}\n")
    subprocess.run([program, "-U", str(file)], check=True)  # hashes in place
    return file


def _is_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0


def free_port() -> int:
    """A port on which nothing listens."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class HalfOpenLine:
    """Lies between a client and a broker; once cut, the broker still believes that it is there."""

    def __init__(self, port: int) -> None:
        self._broker_port = port
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._lines: list[tuple[socket.socket, socket.socket]] = []
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    def cut(self) -> None:
        """End the client's side of all that goes through; the broker's side stays as it is."""
        for client, _ in list(self._lines):
            with contextlib.suppress(OSError):
                client.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """End all of it."""
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        for line in self._lines:
            for end in line:
                with contextlib.suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(10)
        for line in self._lines:
            for end in line:
                end.close()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            broker = socket.create_connection(("127.0.0.1", self._broker_port))
            self._lines.append((client, broker))
            for source, sink in ((client, broker), (broker, client)):
                thread = threading.Thread(target=_pump, args=(source, sink), daemon=True)
                self._threads.append(thread)
                thread.start()


def _pump(source: socket.socket, sink: socket.socket) -> None:
    """Hand on what comes, and say nothing at the end."""
    with contextlib.suppress(OSError):
        while data := source.recv(65536):
            sink.sendall(data)
