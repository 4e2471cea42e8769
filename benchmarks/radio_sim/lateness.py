"""How late the stamps of a capture are, beside those of the smallest possible client.

A real capture process (``sidebeat live``) and a client of thirty lines, each with sensors of its
own, listen to the same played daemon at the same time, while nothing else runs, while a window
paints what is captured, and while every core is busy.  Lateness: stamp minus the moment at which
the daemon was about to send.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from live.protocol.run_file import RUN_FOLDER_VARIABLE
from replay.capture import Capture
from replay.event import ANCHOR, HEART_RATE, unpack_int
from replay.plan import Plan, PlannedSensor
from tests.standins.bluez import BlueZ, Sensor, heart_rate
from tests.standins.running import ROOT, running_capture

RATE_HZ = 20.0
SMALLEST = """
import asyncio, sys, time
from bleak import BleakClient, BleakScanner
lines = []
async def main():
    device = await BleakScanner.find_device_by_address(sys.argv[1])
    async with BleakClient(device) as client:
        await client.start_notify("2a37", lambda _c, d: lines.append((time.time_ns(), bytes(d))))
        print("ready", flush=True)
        await asyncio.to_thread(sys.stdin.read)
    for t, data in lines:
        print(t, data.hex())
asyncio.run(main())
"""
SPIN = "while True: sum(range(1000))"


def lateness(phase_s: float) -> dict[str, dict[str, np.ndarray]]:
    """Lateness in ms, float64 by notification, by condition and by who stamped."""
    with tempfile.TemporaryDirectory() as name:
        return _measure(Path(name), phase_s)


def _measure(folder: Path, phase_s: float) -> dict[str, dict[str, np.ndarray]]:
    bluez = BlueZ(folder)
    os.environ["DBUS_SYSTEM_BUS_ADDRESS"] = bluez.bus.address
    bluez.open()
    sent: dict[bytes, int] = {}
    for index, address in enumerate(("C0:00:00:00:00:01", "C0:00:00:00:00:02")):
        bluez.add(Sensor(address, f"S{index}", rate_hz=RATE_HZ, script=_script(index, sent)))
    plan = Plan(
        wearer="W1",
        activity="rowing ergometer",
        sensors=(PlannedSensor(label="Yarrow", role="reference", address="C0:00:00:00:00:01"),),
    )
    spans: dict[str, tuple[int, int]] = {}
    try:
        with (
            running_capture(folder / "c", plan, "--view", "none", cold=True) as capture,
            _smallest("C0:00:00:00:00:02") as client,
        ):
            while not all(bluez.is_subscribed(sensor) for sensor in bluez.daemon.sensors):
                time.sleep(0.1)
            run_file = str(capture.run_file())
            time.sleep(2)
            for condition, others in (
                ("idle", []),
                ("a window paints", [_window(run_file)]),
                ("every core busy", [[sys.executable, "-c", SPIN]] * (os.cpu_count() or 2)),
            ):
                with _running(others, folder / "c" / "run"):
                    time.sleep(4 if others else 0)  # a window needs some seconds to open
                    begin_ns = time.time_ns()
                    time.sleep(phase_s)
                    spans[condition] = (begin_ns, time.time_ns())
            told, _ = client.communicate()  # closes its input, at which it prints what it has
            lines = map(str.split, told.splitlines())
            minimal = {bytes.fromhex(data): int(t) for t, data in lines}
            feed = capture.attach()
            feed.send("stop")
            capture.wait()
            feed.close()
            stamps = _stamps(capture.file())
    finally:
        bluez.close()
    return {
        condition: {
            "capture": _late(stamps, sent, span),
            "smallest client": _late(minimal, sent, span),
        }
        for condition, span in spans.items()
    }


def _script(index: int, sent: dict[bytes, int]):  # noqa: ANN202 - a callable of the stand-in's
    def script(number: int) -> bytes:
        payload = heart_rate(60 + index, number % 65536)
        sent[payload] = time.time_ns()
        return payload

    return script


def _stamps(path: Path) -> dict[bytes, int]:
    with Capture.open(path) as capture:
        events = list(capture.events())
    anchor = next(event for event in events if event.channel == ANCHOR)
    zero_ns = unpack_int(anchor.payload) - anchor.t_ns
    return {e.payload: e.t_ns + zero_ns for e in events if e.channel == HEART_RATE}


def _late(stamps: dict[bytes, int], sent: dict[bytes, int], span: tuple[int, int]) -> np.ndarray:
    return (
        np.array(
            [stamps[p] - t for p, t in sent.items() if p in stamps and span[0] <= t <= span[1]]
        )
        / 1e6
    )


def _window(run_file: str) -> list[str]:
    return [sys.executable, "-m", "live", "live", "--attach", run_file, "--view", "window"]


@contextmanager
def _smallest(address: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-c", SMALLEST, address],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    if process.stdout is None or not process.stdout.readline():
        raise RuntimeError("the smallest client did not start")
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@contextmanager
def _running(commands: list[list[str]], run_folder: Path) -> Iterator[None]:
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "QT_QPA_PLATFORM": "offscreen",
        RUN_FOLDER_VARIABLE: str(run_folder),
    }
    processes = [
        subprocess.Popen(
            command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for command in commands
    ]
    try:
        yield
    finally:
        for process in processes:
            process.kill()
            process.wait()
