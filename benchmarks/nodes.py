"""Sensors over nodes, through a network that is cut and slowed: all of it must be there, once.

``python -m benchmarks.nodes --minutes 10`` (``make nodes``) runs real programs: four ``sidebeat
node`` with five simulated sensors each, a mosquitto that is killed and started again halfway, a
proxy before each of the five clients, cut and slowed at random (seeded), and ``sidebeat live``.
Afterwards each node's own capture is set beside the one here: counts and SHA-256 of stamps and
payloads must be equal, from the first notification that was followed to the last.  Fails if not.
"""

from __future__ import annotations

import argparse
import asyncio
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import AsyncExitStack, closing
from dataclasses import dataclass, replace
from pathlib import Path

from live.protocol.capture_feed import CaptureFeed
from live.protocol.run_file import RUN_FOLDER_VARIABLE
from live.sources.node.wire import clock_name
from replay.broker import Broker as PlannedBroker
from replay.capture import Capture
from replay.errors import SidebeatError
from replay.event import HEART_RATE, Event
from replay.plan import Plan, PlannedSensor, format_plan
from tests.standins.broker import Broker
from tests.standins.proxy import Proxy, running_proxy

NAMES = ("attic", "cellar", "hall", "yard")
SENSORS_EACH = 5
QUIET_S = 20.0
"""At the end the network is whole, so that what it kept back can come."""
PATIENCE_S = 90.0
LONGEST_CUT_S, LONGEST_DELAY_S = 8.0, 0.4


def plan_at(port: int, names: Sequence[str] = NAMES, each: int = SENSORS_EACH) -> Plan:
    """A reference here, and some sensors at each node, all simulated."""
    kinds = ("wrist", "arm")
    told = tuple(
        PlannedSensor(label=f"{name} {n}", role="test", source="node", node=name, kind=kinds[n % 2])
        for name in names
        for n in range(1, each + 1)
    )
    reference = PlannedSensor(label="Yarrow", role="reference", source="simulated", kind="strap")
    return Plan(
        wearer="W1", activity="rowing ergometer", invented=True, sensors=(reference, *told),
        broker=PlannedBroker(port=port),
    )  # fmt: skip


@dataclass(frozen=True)
class Side:
    """What one end holds of a node: how many notifications, and their fingerprint."""

    count: int
    sha256: str


@dataclass(frozen=True)
class Compared:
    """One node at both ends; ``late``: how many came over a second late; ``behind_s``: how old the
    last one was when the recording ended.
    """

    name: str
    there: Side
    here: Side
    late: int
    behind_s: float

    @property
    def is_whole(self) -> bool:
        """Whether nothing is lost, doubled or out of order."""
        return self.there == self.here and self.here.count > 0 and self.behind_s < QUIET_S


def fingerprint(rows: Sequence[tuple[int, int, bytes]]) -> Side:
    """Of stamps, sensors and payloads, in order."""
    found = hashlib.sha256()
    for stamp_ns, sensor, payload in rows:
        found.update(f"{stamp_ns}:{sensor}:{payload.hex()}\n".encode())
    return Side(len(rows), found.hexdigest())


def compared(here: Path, theirs: dict[str, Path]) -> list[Compared]:
    """Each node's own capture beside the one here."""
    with closing(Capture.open(here)) as capture:
        plan, end_ns = capture.plan, capture.duration_ns
        events = [e for e in capture.events() if e.channel == HEART_RATE and e.foreign]
    found = []
    for name, path in theirs.items():
        with closing(Capture.open(path)) as capture:
            run = capture.uuid.replace("-", "")[:16]
            own = [e for e in capture.events() if e.channel == HEART_RATE]
        numbers = {}
        for number, sensor in enumerate(plan.sensors, 1):
            if sensor.node == name:
                numbers[number] = len(numbers) + 1
        heard = [e for e in events if e.foreign and e.foreign.clock == clock_name(name, run)]
        rows = [(e.foreign.stamp_ns, numbers[e.sensor], e.payload) for e in heard if e.foreign]
        stamps = [row[0] for row in rows] or [0]
        put = [(e.t_ns, e.sensor, e.payload) for e in own if stamps[0] <= e.t_ns <= stamps[-1]]
        late = [
            e.t_ns - e.foreign.stamp_ns - e.foreign.offset_ns > 1_000_000_000
            for e in heard
            if e.foreign and e.foreign.offset_ns is not None
        ]
        last = heard[-1] if heard else None
        behind_s = (end_ns - last.t_ns) / 1e9 if last is not None else float("inf")
        found.append(Compared(name, fingerprint(put), fingerprint(rows), sum(late), behind_s))
    return found


def _started(folder: Path, *arguments: str) -> subprocess.Popen[str]:
    log = (folder / f"{arguments[0]}-{time.monotonic_ns()}.txt").open("w", encoding="utf-8")
    with log:
        return subprocess.Popen(
            [sys.executable, "-m", "live", *arguments],
            stdout=subprocess.PIPE,
            stderr=log,
            stdin=subprocess.DEVNULL,
            text=True,
            env={**os.environ, RUN_FOLDER_VARIABLE: str(folder / f"run-{arguments[0]}")},
        )


async def _trouble(
    proxies: Sequence[Proxy], broker: Broker, seconds: float, chance: random.Random
) -> dict[str, int]:
    """Cut and slow the ways, and restart the broker once, for so long."""
    done = {"cuts": 0, "delays": 0, "broker restarts": 0}
    began, restarted = time.monotonic(), False
    while (left := began + seconds - time.monotonic()) > 0:
        if not restarted and left < seconds / 2:
            restarted = True
            broker.kill()
            await asyncio.sleep(min(5.0, seconds / 10))
            await asyncio.to_thread(broker.start)
            done["broker restarts"] += 1
        proxy = chance.choice(proxies)
        for_s = min(chance.uniform(0.5, LONGEST_CUT_S), left)
        if chance.random() < 0.5:
            done["cuts"] += 1
            proxy.cut()
        else:
            done["delays"] += 1
            proxy.there_s = chance.uniform(0, LONGEST_DELAY_S)
            proxy.back_s = chance.uniform(0, LONGEST_DELAY_S)
        await asyncio.sleep(for_s)
        proxy.mend()
        proxy.there_s = proxy.back_s = 0.0
        await asyncio.sleep(min(chance.uniform(0.5, 4.0), max(left - for_s, 0)))
    return done


async def proof(
    folder: Path, minutes: float, seed: int, names: Sequence[str] = NAMES, each: int = SENSORS_EACH
) -> tuple[list[Compared], dict[str, int], dict[str, object]]:
    """Run it all; each node at both ends, what was done to the network, and what live told."""
    broker = Broker(folder)
    broker.start()
    chance = random.Random(seed)
    plan = plan_at(broker.port, names, each)
    nodes: dict[str, subprocess.Popen[str]] = {}
    async with AsyncExitStack() as held:
        held.callback(broker.kill)
        ways = [await held.enter_async_context(running_proxy(broker.port)) for _ in (*names, "")]
        for name, way in zip(names, ways, strict=False):
            file = folder / f"{name}.toml"
            file.write_text(format_plan(replace(plan, broker=PlannedBroker(port=way.port))))
            nodes[name] = _started(
                folder, "node", str(file), "--name", name, "--out", str(folder / name), "--json"
            )
            held.callback(_ended, nodes[name])
        for name in names:
            await asyncio.to_thread(_wait_for_words, folder, f"Node '{name}' is connected")
        file = folder / "here.toml"
        file.write_text(format_plan(replace(plan, broker=PlannedBroker(port=ways[-1].port))))
        live = _started(
            folder, "live", "--plan", str(file), "--out", str(folder / "here"), "--json"
        )
        held.callback(_ended, live)
        await asyncio.to_thread(_wait_for_nodes, folder, len(names))
        done = await _trouble(ways, broker, max(60 * minutes - QUIET_S, 5), chance)
        await asyncio.sleep(QUIET_S)
        facts = json.loads((await asyncio.to_thread(_end, live)) or "{}")
        for node in nodes.values():
            await asyncio.to_thread(_end, node)
    (here,) = (folder / "here").glob("*.sqlite")
    theirs = {name: next((folder / name).glob("*.sqlite")) for name in names}
    return compared(here, theirs), done, facts


def _until(true: Callable[[], object]) -> None:
    give_up = time.monotonic() + PATIENCE_S
    while not true():
        if time.monotonic() > give_up:
            raise SidebeatError(f"it did not begin within {PATIENCE_S:g} s")
        time.sleep(0.1)


def _wait_for_words(folder: Path, words: str) -> None:
    """Wait until a node has said this."""
    _until(lambda: any(words in log.read_text("utf-8") for log in folder.glob("node-*")))


def _wait_for_nodes(folder: Path, count: int) -> None:
    """Wait until the recording has heard something of so many nodes."""
    run = folder / "run-live"
    _until(lambda: any(file.stat().st_size for file in run.glob("*.json")))
    clocks = set[str]()
    with closing(CaptureFeed.attach(next(run.glob("*.json")))) as feed:

        def heard() -> bool:
            events = [message for message in feed.poll() if isinstance(message, Event)]
            clocks.update(event.foreign.clock for event in events if event.foreign)
            return len(clocks) == count

        _until(heard)


def _end(process: subprocess.Popen[str]) -> str:
    process.send_signal(signal.SIGTERM)
    out, _ = process.communicate(timeout=60)
    return out


def _ended(process: subprocess.Popen[str]) -> None:
    if process.poll() is None:
        process.kill()
    process.wait()
    if process.stdout is not None:
        process.stdout.close()


def main() -> int:
    """Run the proof and print what was found; 1 if anything is missing or doubled."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the captures and logs")
    arguments = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as made,
        asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner,
    ):
        folder = arguments.keep or Path(made)
        folder.mkdir(parents=True, exist_ok=True)
        found, done, facts = runner.run(proof(folder, arguments.minutes, arguments.seed))
    print(f"{len(NAMES)} nodes, {SENSORS_EACH} sensors each, {arguments.minutes:g} min: ", end="")
    print(", ".join(f"{count} {what}" for what, count in done.items()))
    for one in found:
        verdict = "equal" if one.is_whole else "NOT EQUAL"
        print(
            f"{one.name:8} there {one.there.count} {one.there.sha256[:16]}  here {one.here.count} "
            f"{one.here.sha256[:16]}  {one.late} late, the last {one.behind_s:.1f} s old  {verdict}"
        )
    bounds = [f"{clock['clock']} ±{clock['bound_ms']} ms" for clock in facts.get("clocks", [])]  # type: ignore[attr-defined]
    print("clocks: " + ", ".join(bounds))
    return 0 if all(one.is_whole for one in found) else 1


if __name__ == "__main__":
    sys.exit(main())
