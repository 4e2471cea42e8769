"""A jump hours ahead in a long recording: by boards from the cache beside playing all events.

Run ``python -m benchmarks.bench_seek``.  Six simulated sensors that notify four times a second for
eight hours.  The same jumps are made by a player without kept places, and by one with them, in
one run; wall time until the view's board stands at the goal, no frames drawn in between.  What
counts is the ratio.  Also printed: what making the places takes, and the room they want.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from analysis.session.places import KeptPlaces, keep_places
from benchmarks.bench_board import _plan
from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from live.simulated import simulate
from replay.capture import Capture, CaptureWriter
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.plan import Plan

_QUARTER_NS = NS_PER_S // 4
_UNIX_2026_NS = 1_767_225_600 * NS_PER_S


def _four_a_second(plan: Plan, length_s: float) -> Iterator[Event]:
    """Each notification and the same value thrice more, without its RR, a quarter apart."""
    waiting: list[Event] = []
    for event in simulate(plan, length_s):
        waiting.sort(key=lambda one: one.t_ns)
        while waiting and waiting[0].t_ns <= event.t_ns:
            yield waiting.pop(0)
        yield event
        if event.channel == HEART_RATE and len(event.payload) > 1:
            bare = bytes((event.payload[0] & 0x06, event.payload[1]))
            waiting += [
                Event(event.t_ns + k * _QUARTER_NS, event.sensor, HEART_RATE, bare)
                for k in (1, 2, 3)
            ]
    yield from sorted(waiting, key=lambda one: one.t_ns)


def _write(path: Path, hours: float) -> None:
    plan = _plan("rowing ergometer")
    writer = CaptureWriter(path, plan, started_utc_ns=_UNIX_2026_NS, software="benchmark")
    t_ns = 0
    for number, event in enumerate(_four_a_second(plan, hours * 3600), 1):
        writer.append(event)
        t_ns = event.t_ns
        if number % 10_000 == 0:
            writer.commit()
    writer.close(t_ns=t_ns, utc_ns=_UNIX_2026_NS + t_ns, reason="stopped by the benchmark")


def _jump(feed: FileFeed, model: ViewModel, to_s: float) -> float:
    start = time.perf_counter()
    feed.seek(round(to_s * NS_PER_S))
    model.pump()
    while feed.catching_up:
        model.pump()
    model.snapshot()
    return time.perf_counter() - start


def main(arguments: list[str] | None = None) -> int:
    """Run the benchmark from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--hours", type=float, default=8.0, help="length of the recording")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SIDEBEAT_CACHE_DIR"] = folder
        path = Path(folder) / "long.sqlite"
        _write(path, options.hours)
        goals_s = [share * options.hours * 3600 for share in (0.2, 0.9, 0.55, 0.97)]
        plainly = []
        for goal_s in goals_s:
            with FileFeed(path, None, places=False) as feed:
                feed.pause()
                plainly.append(_jump(feed, ViewModel(feed), goal_s))
        start = time.process_time()
        keep_places(path)
        made_s = time.process_time() - start
        with Capture.open(path) as capture:
            kept = KeptPlaces(capture)
            kept.load()
            print(f"{capture.event_count} events, {len(kept.places)} places", end=", ")
            kept.close()
        room = sum(one.stat().st_size for one in (Path(folder) / "places").iterdir())
        own = path.stat().st_size
        print(f"made in {made_s:.1f} s of CPU, {room / 2**20:.0f} MiB beside {own / 2**20:.0f}")
        with FileFeed(path, None, ahead=True) as feed:
            feed.pause()
            model = ViewModel(feed)
            for goal_s, before_s in zip(goals_s, plainly, strict=True):
                now_s = _jump(feed, model, goal_s)
                print(f"to {goal_s / 3600:4.1f} h: {before_s:6.2f} s, by places {now_s:5.2f} s",
                      f"({before_s / now_s:.0f} times)")  # fmt: skip
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
