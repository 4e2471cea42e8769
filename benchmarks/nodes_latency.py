"""How soon a board shows what a node has stamped, on one computer.

``python -m benchmarks.nodes_latency`` (``make nodes-latency``): four nodes with five sensors each,
once a second, in this process, their stamps read on this process's clock; a mosquitto on loopback;
a real ``sidebeat live`` beside; and here a view's model on its feed, looked at every 2 ms.  What is
measured is the time from a stamp to when the board of the view has taken the reading, less the
hold-back.  Prints p50, p99 and the longest; fails where p99 is 100 ms or more.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import sys
import tempfile
import threading
import time
from contextlib import AsyncExitStack, closing
from pathlib import Path

import numpy as np

from live.protocol.view_model import ViewModel
from replay.event import NS_PER_S
from replay.foreign_time import HOLD_BACK_NS
from replay.payloads import encode_heart_rate
from tests.standins.broker import Broker, running_broker
from tests.standins.nodes import Node, node_plan
from tests.standins.running import RunningCapture, running_capture

NAMES = ("attic", "cellar", "hall", "yard")
EACH = 5
LIMIT_MS = 100.0
BEGINS_S = 8.0
"""Until every node is followed and its clock known."""


class Watch:
    """When the board of a view has taken each reading, on this process's clock."""

    def __init__(self, capture: RunningCapture) -> None:
        self.seen: dict[int, list[int]] = {}
        self._over = threading.Event()
        self._capture = capture
        self._thread = threading.Thread(target=self._look)
        self._thread.start()

    def _look(self) -> None:
        with closing(self._capture.attach()) as feed:
            model = ViewModel(feed)
            while not self._over.is_set():
                model.pump()
                now_ns = time.perf_counter_ns()
                for number in model.plan.tests:
                    taken = self.seen.setdefault(number, [])
                    new = len(model.board.series(number)[0]) - len(taken)
                    taken += [now_ns] * new
                time.sleep(0.002)

    def close(self) -> None:
        """Look no more."""
        self._over.set()
        self._thread.join()


async def put(port: int, seconds: float) -> list[list[tuple[int, int]]]:
    """Have the nodes hear something; of each its stamps, on our clock, with the sensor."""
    nodes = [Node(port, name, sensors=EACH) for name in NAMES]
    stamps: list[list[tuple[int, int]]] = [[] for _ in nodes]
    async with AsyncExitStack() as held:
        for node in nodes:
            await held.enter_async_context(node.running())
        await asyncio.sleep(BEGINS_S)
        began, chance = time.perf_counter(), random.Random(1)
        for step in range(round(seconds * EACH)):
            for at, node in enumerate(nodes):
                # No two send at one moment, nor any at the same moment of each second: else the
                # next second's readings would let go of this one's just in time.
                due = began + (step + at / len(nodes) + chance.uniform(-0.4, 0.4)) / EACH
                await asyncio.sleep(max(due - time.perf_counter(), 0))
                sensor = 1 + step % EACH
                stamps[at].append((time.perf_counter_ns(), sensor))
                node.hear(sensor, payload=encode_heart_rate(90 + step % 60))
        await asyncio.sleep(HOLD_BACK_NS / NS_PER_S + 2)
    return stamps


def measured(folder: Path, broker: Broker, seconds: float) -> np.ndarray:
    """Latencies beyond the hold-back, ms, float64[n]."""
    plan = node_plan(broker.port, NAMES, sensors=EACH)
    with running_capture(folder, plan, "--view", "none", cold=True) as capture:
        with closing(Watch(capture)) as watch, asyncio.Runner(
            loop_factory=asyncio.SelectorEventLoop
        ) as runner:  # fmt: skip
            stamps = runner.run(put(broker.port, seconds))
        capture.process.terminate()
        capture.process.wait(30)
    late: list[float] = []
    for at, rows in enumerate(stamps):
        for sensor in range(1, EACH + 1):
            number = 1 + at * EACH + sensor
            taken = watch.seen.get(number, [])
            put_ns = [stamp_ns for stamp_ns, one in rows if one == sensor]
            if len(taken) != len(put_ns):
                raise SystemExit(f"sensor {number}: {len(put_ns)} were put, {len(taken)} taken")
            late += [
                (seen - stamp - HOLD_BACK_NS) / 1e6
                for seen, stamp in zip(taken, put_ns, strict=True)
            ]
    return np.array(late)


def main() -> int:
    """Measure and print; 1 if the limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as made, running_broker(Path(made)) as broker:
        late = measured(Path(made) / "run", broker, arguments.seconds)
    p50, p99 = np.percentile(late, [50, 99])
    print(
        f"{len(late)} notifications: from the node's stamp to the board, beyond the hold-back of "
        f"{HOLD_BACK_NS / NS_PER_S:g} s: p50 {p50:.1f} ms, p99 {p99:.1f} ms, longest "
        f"{late.max():.1f} ms"
    )
    return 0 if p99 < LIMIT_MS else 1


if __name__ == "__main__":
    sys.exit(main())
