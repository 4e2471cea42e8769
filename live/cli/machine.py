"""What this computer is ready for: one check each, with what to do where it is not.

Each check is tried for real (a window in a child process, a login at the broker, a file in the
folder), and none takes longer than some seconds.  Those on packages and libraries are the ones that
the set-up script uses.
"""

from __future__ import annotations

import asyncio
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Final

from live import preflight
from replay.broker import Broker
from replay.errors import SidebeatError
from replay.page import PagePlan
from replay.plan import Plan


class State(StrEnum):
    """Where a check stands; the value is the word on the screen."""

    GOOD = "good"
    LIMITED = "limited"
    """Something can be done without it: the sentence says what cannot."""
    PROBLEM = "problem"
    """Nothing can be recorded before it is put right."""


@dataclass(frozen=True, slots=True)
class MachineCheck:
    """One check: what was looked at, how it stands, and what was found or is to be done."""

    key: str
    title: str
    state: State
    sentence: str


_EXTRAS: Final = (
    ("window", preflight.WINDOW_PACKAGES, "the window"),
    ("report", preflight.REPORT_PACKAGES, "reports and figures"),
    ("files", preflight.FILE_PACKAGES, "FIT and GPX files, Parquet"),
    ("broker", preflight.BROKER_PACKAGES, "a broker of its own"),
    ("page", preflight.PAGE_PACKAGES, "the page for a phone"),
)


def checks(folder: Path, plan: Plan | None) -> Iterator[MachineCheck]:
    """All checks, each when it is done.

    ``plan``: asks for what its sensors need alone, and tries its broker; without one, everything
    but a broker is looked at.
    """
    sources = {"bluetooth"} if plan is None else {sensor.source for sensor in plan.sensors}
    yield _python()
    yield packages()
    yield _window()
    if "bluetooth" in sources:
        yield _bluetooth()
    broker = _broker_of(plan, sources)
    if plan is not None and broker is not None:
        yield _broker(broker, [s.topic for s in plan.sensors if s.source == "mqtt"])
    if plan is not None and plan.page is not None:
        yield _page(plan.page)
    yield sound()
    yield _folder(folder)
    yield clock()


def _python() -> MachineCheck:
    found = "{}.{}.{}".format(*sys.version_info[:3])
    return MachineCheck("python", "Python", State.GOOD, f"{found}, {sys.executable}")


def packages() -> MachineCheck:
    """Whether the extras are installed; what cannot be done without those that are not."""
    lacking = [
        (extra, what) for extra, names, what in _EXTRAS if preflight.missing_packages(dict(names))
    ]
    if not lacking:
        return MachineCheck("packages", "packages", State.GOOD, "all are installed")
    extras = ",".join(extra for extra, _ in lacking)
    without = "; ".join(what for _, what in lacking)
    return MachineCheck(
        "packages",
        "packages",
        State.LIMITED,
        f"what recording needs is installed; not for {without}: {preflight.install_line(extras)}",
    )


def _window() -> MachineCheck:
    reason = preflight.no_window()
    if reason:
        return MachineCheck(
            "window", "window", State.LIMITED, f"{reason}  The terminal view works."
        )
    return MachineCheck("window", "window", State.GOOD, "opens on this screen")


def _bluetooth() -> MachineCheck:
    from live.sources.bluetooth import bluetooth_problem, list_adapters  # noqa: PLC0415 - bleak

    async def look() -> tuple[str | None, list[str]]:
        problem = await bluetooth_problem()
        return problem, [one.name for one in await list_adapters() if one.powered and one.central]

    problem, adapters = asyncio.run(look())
    if problem:
        return MachineCheck("bluetooth", "Bluetooth", State.PROBLEM, problem)
    named = f"on, adapters: {', '.join(adapters)}" if adapters else "on"
    return MachineCheck("bluetooth", "Bluetooth", State.GOOD, named)


def _broker_of(plan: Plan | None, sources: set[str]) -> Broker | None:
    if plan is None:
        return None
    if sources & {"mqtt", "node"} or plan.attention.topic or plan.prefix:
        return plan.broker or Broker()
    return None


def _broker(broker: Broker, topics: list[str]) -> MachineCheck:
    from live.sources.broker import tried, where  # noqa: PLC0415 - imports the client library

    title = "broker"
    try:
        # The client needs a loop that tells of readable sockets; Windows' usual one does not.
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            problem = runner.run(tried(broker, topics))
    except SidebeatError as error:
        return MachineCheck("broker", title, State.PROBLEM, str(error))
    if problem:
        return MachineCheck("broker", title, State.PROBLEM, problem)
    login = f" as {broker.username!r}" if broker.username else ""
    secured = ", encrypted" if broker.tls else ""
    return MachineCheck("broker", title, State.GOOD, f"{where(broker)} lets in{login}{secured}")


def _page(page: PagePlan) -> MachineCheck:
    from live.cli.page_option import check_page  # noqa: PLC0415 - only where it is wanted

    try:
        check_page(page)
    except SidebeatError as error:
        return MachineCheck("page", "page for the phone", State.PROBLEM, str(error))
    found = f"can be served on {page.address}:{page.port}"
    return MachineCheck("page", "page for the phone", State.GOOD, found)


def sound() -> MachineCheck:
    """Whether anything here can play a warning."""
    from live.notify.player import platform_players  # noqa: PLC0415 - numpy

    players = platform_players()
    found = next((n for n in players if n == "winsound" or shutil.which(n)), None)
    if found is None:
        return MachineCheck(
            "sound",
            "sound",
            State.LIMITED,
            f"none of {', '.join(players)} is installed: warnings are shown, not heard",
        )
    return MachineCheck("sound", "sound", State.GOOD, f"played by {found}")


def _folder(folder: Path) -> MachineCheck:
    from live.setup.folder import ROOM_BYTES, look_at  # noqa: PLC0415 - with the others

    facts = look_at(folder)
    if facts.problem:
        return MachineCheck("folder", "folder", State.PROBLEM, facts.problem)
    free = f"{folder.absolute()}: {facts.free_bytes / 1e9:.1f} GB free"
    if facts.free_bytes < ROOM_BYTES:
        return MachineCheck("folder", "folder", State.PROBLEM, f"{free}; make room")
    return MachineCheck("folder", "folder", State.GOOD, free)


def clock(now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> MachineCheck:
    """Whether the time of day can be right."""
    from live.setup.checks import clock_problem  # noqa: PLC0415 - with the others

    utc = now()
    problem = clock_problem(utc)
    if problem:
        return MachineCheck("clock", "clock", State.PROBLEM, problem)
    return MachineCheck("clock", "clock", State.GOOD, f"{utc:%Y-%m-%d %H:%M} UTC")
