"""Recent captures as the start page lists them, read in a thread of its own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from replay.capture import Capture
from replay.channels import HEART_RATE_CHANNELS, decode
from replay.errors import SidebeatError
from replay.event import NS_PER_S
from replay.payloads import HeartRate
from replay.plan import Plan

MOST: Final = 24
TRACE_POINTS: Final = 90
_LOOK_NS: Final = 3 * NS_PER_S

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ListedCapture:
    """One capture.  ``state``: whole, or what is wrong.  ``trace``: bpm of the reference by time,
    float64[:data:`TRACE_POINTS`], NaN where it has none; empty where the file cannot be read.
    """

    path: Path
    plan: Plan | None
    started_utc_ns: int
    duration_s: float
    state: str
    trace: Floats


def capture_paths(recent: Iterable[str], folders: Iterable[Path]) -> list[Path]:
    """Captures that were opened lately and those in the folders, newest first by name and age."""
    found: dict[Path, float] = {}
    for path in (*map(Path, recent), *(p for f in folders for p in _in_folder(f))):
        try:
            found.setdefault(path.resolve(), path.stat().st_mtime)
        except OSError:
            continue  # it was moved or deleted
    return sorted(found, key=lambda path: found[path], reverse=True)[:MOST]


def _in_folder(folder: Path) -> list[Path]:
    try:
        return [p for p in folder.glob("*.sqlite") if p.is_file()]
    except OSError:
        return []


def listed(path: Path) -> ListedCapture:
    """What is shown of a capture; never raises for what a file may hold."""
    nothing = np.empty(0)
    try:
        with Capture.open(path) as capture:
            plan = capture.plan
            state = "whole" if capture.clean else "never closed"
            trace = _trace(capture, plan.reference)
            return ListedCapture(
                path, plan, capture.started_utc_ns, capture.duration_ns / 1e9, state, trace
            )
    except (SidebeatError, OSError) as error:
        sentence = str(error).removeprefix(f"{path}: ")
        return ListedCapture(path, None, 0, 0.0, sentence, nothing)


def _trace(capture: Capture, sensor: int) -> Floats:
    """The reference's bpm at so many places of the session: its first reading after each."""
    trace = np.full(TRACE_POINTS, np.nan)
    for place in range(TRACE_POINTS):
        start_ns = place * capture.duration_ns // TRACE_POINTS
        for event in capture.events(start_ns, start_ns + _LOOK_NS):
            if event.sensor != sensor or event.channel not in HEART_RATE_CHANNELS:
                continue
            try:
                reading = decode(event.channel, event.payload)
            except ValueError:
                continue
            if isinstance(reading, HeartRate) and reading.valid_mbpm is not None:
                trace[place] = reading.valid_mbpm / 1000
                break
    return trace
