"""``sidebeat live``: capture a session and watch it, or attach a view to a running capture."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import math
import signal
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

from live.cli.embedded_broker import HELP as BROKER_HELP
from live.cli.embedded_broker import EmbeddedBroker, be_broker, port_of, with_embedded
from live.cli.outcome import facts_of, silence, summary
from live.cli.output import json_line, say
from live.cli.page_option import HELP as PAGE_HELP
from live.cli.page_option import page_lines, parse_place, with_page
from live.cli.plan_command import may_run
from live.cli.terminal_log import TerminalLog
from live.cli.views import add_view_option, chosen_view, show, split_command
from live.notify.options import NotifyOptions
from replay.errors import PlanError, SidebeatError

if TYPE_CHECKING:
    from collections.abc import Callable

    from live.protocol.view_model import ViewModel
    from live.sources.base import Source
    from live.views.page.page import Page
    from replay.broker import Broker
    from replay.page import PagePlan
    from replay.plan import Plan

HELP: Final = (
    "Record the sensors of a plan into one file and show how they agree, until Ctrl-C, "
    "SIGTERM, the set number of minutes or a stop from the view."
)
EXAMPLE: Final = """\
sidebeat live --out captures                     set up in the window, then record
sidebeat live --plan plan.toml --out captures
sidebeat live --plan plan.toml --practice        nothing is saved
sidebeat live --plan plan.toml --publish gym/board    readings, agreement and warnings over MQTT
sidebeat live --plan plan.toml --page 0.0.0.0    and a page for a phone in the same network
sidebeat live --attach                           another view of the running capture
"""

_NO_PLAN: Final = (
    "say which session: --plan FILE.  'sidebeat sensors' prints a plan of the sensors in reach to "
    "start from: save it as plan.toml, set roles, labels and placements, then "
    "'sidebeat live --plan plan.toml'.  (--attach: a view of a running capture.)"
)


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the command's own arguments."""
    parser.add_argument(
        "--plan",
        type=Path,
        metavar="FILE",
        help="the session's plan (TOML); without it the window opens on its set-up page, which "
        "makes one",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="folder for the capture file, made if need be (default: where you are)",
    )
    parser.add_argument(
        "--practice", action="store_true", help="save nothing; to try a plan or a sensor's seat"
    )
    parser.add_argument("--minutes", type=float, metavar="N", help="stop by itself after N minutes")
    add_view_option(parser, none_means="only capture; a view can be attached at any time")
    parser.add_argument(
        "--attach",
        nargs="?",
        const="",
        metavar="RUNFILE",
        help="do not capture: attach a view to the capture that is running (RUNFILE tells "
        "which one, if several are)",
    )
    parser.add_argument(
        "--json",
        action="store_true",
        help="print one JSON object about the finished capture, and nothing else, on stdout; "
        "no view is opened unless --view asks for one",
    )
    parser.add_argument(
        "--on-warning",
        type=split_command,
        metavar="CMD",
        help="run this program for each warning, in place of the plan's command; the facts are in "
        "environment variables SIDEBEAT_... and, as JSON, on its standard input",
    )
    parser.add_argument(
        "--publish",
        metavar="PREFIX",
        help="publish the board as JSON under topics that begin with PREFIX, on the plan's broker "
        "or, where it has none, the one on this computer",
    )
    parser.add_argument(
        "--publish-schema",
        action="store_true",
        help="print the JSON Schema of what --publish sends, and do nothing else",
    )
    parser.add_argument(
        "--page", nargs="?", const="", type=parse_place, metavar="ADDRESS[:PORT]", help=PAGE_HELP
    )
    parser.add_argument(
        "--embedded-broker", nargs="?", const=0, type=port_of, metavar="PORT", help=BROKER_HELP
    )
    parser.add_argument("--mute", action="store_true", help="no sounds, whatever the plan says")
    # Set by the start page: wear what was worn in that capture.
    parser.add_argument("--like", type=Path, help=argparse.SUPPRESS)
    # Set by the capture for the view, the watcher and the broker that it starts itself.
    parser.add_argument("--watch", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--be-broker", type=int, nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    # Set by the set-up page for the capture that it starts; see live.setup.subprocesses.
    parser.add_argument("--rehearse", action="store_true", help=argparse.SUPPRESS)


def run(arguments: argparse.Namespace) -> int:
    """Carry it out; returns the exit status.  Raises :class:`SidebeatError` in one sentence."""
    if arguments.publish_schema:
        from live.notify.board_messages import schema_text  # noqa: PLC0415 - see live.cli.main

        say(schema_text())
        return 0
    if arguments.be_broker is not None:
        return be_broker(*arguments.be_broker)
    if arguments.attach is not None:
        return _attach(arguments)
    _check(arguments)
    if arguments.plan is None:
        return _set_up(arguments)
    if arguments.rehearse:
        return _rehearse(arguments)
    return _capture(arguments)


def _attach(arguments: argparse.Namespace) -> int:
    for option in ("plan", "out", "minutes", "on-warning", "publish", "page", "embedded-broker"):
        if getattr(arguments, option.replace("-", "_")) is not None:
            raise SidebeatError(f"--{option} is for a new capture, not for --attach")
    if arguments.practice or arguments.json:
        raise SidebeatError("--practice and --json are for a new capture, not for --attach")
    from live.capture.viewer import step_behind  # noqa: PLC0415 - see live.cli.main
    from live.protocol.capture_feed import CaptureFeed  # noqa: PLC0415

    if arguments.watch:
        return _watch(Path(arguments.attach))
    view = chosen_view(arguments.view)
    if view == "none":
        raise SidebeatError("--attach needs a view: window or terminal")
    if arguments.child and view == "window":
        # Ctrl-C in the terminal reaches this process too; it is meant for the capture, whose end
        # the window then shows.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    step_behind()
    feed = CaptureFeed.attach(Path(arguments.attach) if arguments.attach else None)
    try:
        options = NotifyOptions(sounds=False if arguments.mute else None)
        return show(feed, view, leave_at_end=True, options=options)
    finally:
        feed.close()


def _watch(run_file: Path) -> int:
    """Be the watcher of a capture; say on stdout what a warning should set off and could not."""
    from live.capture.viewer import step_behind  # noqa: PLC0415
    from live.notify.watcher import watch  # noqa: PLC0415 - see live.cli.main
    from live.protocol.capture_feed import CaptureFeed  # noqa: PLC0415

    # Ctrl-C reaches this process too, but is meant for the capture, whose end is then seen here.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    step_behind()

    def page_of(model: ViewModel, plan: PagePlan) -> Page:
        from live.views.page.page import Page  # noqa: PLC0415 - the web library

        page = Page(model, plan)
        for line in page_lines(page.full, page.read, plan):
            say(line)
        return page

    attach = partial(CaptureFeed.attach, run_file)
    watch(attach, lambda said: say(f"Note: {said}."), page_of=page_of)
    return 0


def planned(arguments: argparse.Namespace) -> Plan:
    """The plan as the options change it; what it asks for is checked before anything starts."""
    from replay.broker import Broker  # noqa: PLC0415
    from replay.plan import load_plan  # noqa: PLC0415

    plan = load_plan(arguments.plan)
    if any(sensor.kind for sensor in plan.sensors):
        from live.sources.simulated import plan_with_invention_marked  # noqa: PLC0415 - numpy

        plan = plan_with_invention_marked(plan)
    plan = with_embedded(plan, arguments.embedded_broker)
    is_new = plan.broker is None
    if arguments.publish is not None:
        try:
            plan = plan.publishing(arguments.publish)
        except PlanError as error:
            raise SidebeatError(f"--publish {error.rule} (got {arguments.publish!r})") from None
    if arguments.on_warning:
        plan = replace(plan, attention=replace(plan.attention, command=arguments.on_warning))
    elif not (arguments.rehearse or may_run(plan.attention.command)):
        plan = replace(plan, attention=replace(plan.attention, command=()))
    if plan.attention.quiet or plan.attention.command:
        # Who is called knows the board and numpy: a capture that calls nobody loads neither.
        from live.notify.command import check_attention  # noqa: PLC0415

        check_attention(plan.attention)
    if plan.attention.topic or plan.prefix:
        from live.sources.broker import password_of, tls_of  # noqa: PLC0415 - only where it is wanted

        password_of(plan.broker or Broker())
        tls_of(plan.broker or Broker())
    if plan.prefix and is_new:
        _check_nearby_broker()
    elif plan.prefix and plan.broker is not None and not plan.broker.embedded:
        _check_named_broker(plan.broker)
    return with_page(plan, arguments.page)


def _check_nearby_broker() -> None:
    """The board is to be published, and nothing says where: this computer's broker must be there.

    One that the plan names may come later.
    """
    from live.sources.broker import tried  # noqa: PLC0415 - as above
    from replay.broker import Broker  # noqa: PLC0415 - as above

    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        problem = runner.run(tried(Broker()))
    if problem:
        raise SidebeatError(
            "publishing the board needs a broker; the plan names none in [broker], and on this "
            f"computer: {problem}"
        )


def _check_named_broker(broker: Broker) -> None:
    """The plan's own may come later; one that answers and does not let us in will not change."""
    from live.sources.broker import refused  # noqa: PLC0415 - only where it is wanted

    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        problem = runner.run(refused(broker))
    if problem:
        raise SidebeatError(f"the board cannot be published: {problem}")


def _check(arguments: argparse.Namespace) -> None:
    if arguments.practice and arguments.out is not None:
        raise SidebeatError("--practice saves nothing, so --out has no meaning with it")
    minutes: float | None = arguments.minutes
    if minutes is not None and not (math.isfinite(minutes) and minutes > 0):
        raise SidebeatError(f"--minutes must be a number above 0, not {minutes:g}")


def _set_up(arguments: argparse.Namespace) -> int:
    """Make a plan in the window, and record it there."""
    from live import preflight  # noqa: PLC0415

    for option in ("on-warning", "publish", "page", "embedded-broker"):
        if getattr(arguments, option.replace("-", "_")) is not None:
            raise SidebeatError(f"--{option} needs a plan: --plan FILE")
    no_window = preflight.no_window()
    if arguments.json or arguments.view in {"terminal", "none"} or no_window:
        why = f"  (The set-up page needs the window.  {no_window})" if no_window else ""
        raise SidebeatError(_NO_PLAN + why)
    from live.views.window.setup.app import run_setup  # noqa: PLC0415 - Qt, only where it is wanted

    out = None if arguments.practice else (arguments.out or Path())
    options = NotifyOptions(sounds=False if arguments.mute else None)
    return run_setup(
        out,
        minutes=arguments.minutes,
        on_warning=arguments.on_warning or (),
        options=options,
        like=arguments.like,
    )


def _rehearse(arguments: argparse.Namespace) -> int:
    """Serve a set-up page: say on stdout where to attach, record when told to."""
    with contextlib.closing(TerminalLog(aside=True)) as log:
        return _serve_set_up(arguments, log)


def _serve_set_up(arguments: argparse.Namespace, log: TerminalLog) -> int:
    from live.capture.process import run_capture  # noqa: PLC0415
    from live.notify.watcher_process import WatcherProcess  # noqa: PLC0415 - see live.cli.main

    watched: list[WatcherProcess] = []

    def open_view(run_file: Path) -> _AttachedPage | WatcherProcess:
        page = _AttachedPage(tell, run_file)
        if not plan.needs_watcher:
            return page
        watched.append(WatcherProcess(page, run_file, log.say, sys.stderr))
        return watched[0]

    def tell(**facts: object) -> None:
        with contextlib.suppress(OSError):  # the page has gone; the recording matters more
            say(json_line(facts))

    try:
        plan = planned(arguments)
        outcome = run_capture(
            plan,
            None if arguments.practice else (arguments.out or Path()),
            sources_for(plan, log),
            minutes=arguments.minutes,
            rehearse=True,
            open_view=open_view,
            say=log.say,
        )
    except SidebeatError as error:
        tell(problem=str(error))
        return 2
    for one in watched:
        one.let_go()
    if outcome.path is not None:
        log.say(summary(outcome))
    log.flush()
    tell(**facts_of(outcome, plan))
    if outcome.problem:
        raise SidebeatError(outcome.problem)
    return 0


class _AttachedPage:
    """The page, told where it can attach; when it goes is for itself to say."""

    def __init__(self, tell: Callable[..., None], run_file: Path) -> None:
        tell(run_file=str(run_file))

    def ended(self) -> str | None:
        """Never."""
        return None


def _capture(arguments: argparse.Namespace) -> int:
    plan = planned(arguments)
    with contextlib.ExitStack() as held:
        log = held.enter_context(contextlib.closing(TerminalLog(aside=arguments.json)))
        if plan.broker is not None and plan.broker.embedded:
            held.enter_context(EmbeddedBroker(plan.broker.port, log.say))
            log.say(f"A broker listens on 127.0.0.1:{plan.broker.port}, for this computer alone.")
        return _record(arguments, plan, log)


def _record(arguments: argparse.Namespace, plan: Plan, log: TerminalLog) -> int:
    from live.capture.process import run_capture  # noqa: PLC0415
    from live.cli.view_processes import ViewProcesses  # noqa: PLC0415 - see live.cli.main

    if plan.study and not arguments.practice:
        from live.setup.study_advice import study_advice  # noqa: PLC0415 - loads the statistics

        for line in study_advice(plan, arguments.out or Path()):
            log.say(line)
    if plan.prefix:
        from live.sources.broker import where  # noqa: PLC0415 - only where it is wanted
        from replay.broker import Broker  # noqa: PLC0415 - as above

        at = where(plan.broker or Broker())
        log.say(f"The board is published under {plan.prefix!r}, on the broker at {at}.")
    sources = sources_for(plan, log)
    view = "none" if arguments.json and arguments.view is None else chosen_view(arguments.view)
    views = ViewProcesses(plan, view, log, mute=arguments.mute, aside=arguments.json)
    # A key that is held sends Ctrl-C again while the last lines are printed; they must come out.
    before = signal.getsignal(signal.SIGINT)
    signal.signal(signal.SIGINT, lambda *_: None)
    outcome = run_capture(
        plan,
        None if arguments.practice else (arguments.out or Path()),
        sources,
        minutes=arguments.minutes,
        open_view=views.open,
        say=log.say,
        say_of_links=log.complain if view == "none" else None,
    )
    views.clear_the_terminal(outcome)
    log.say(summary(outcome))
    if log.unread:
        log.say(f"{log.unread} lines were not shown: nobody read them.")
    log.flush()
    if arguments.json:
        say(json_line(facts_of(outcome, plan)))
    signal.signal(signal.SIGINT, signal.SIG_IGN if outcome.by_signal else before)
    views.leave()
    if outcome.problem:
        raise SidebeatError(outcome.problem)
    if not outcome.heard:
        raise SidebeatError(silence(outcome, plan))
    return 0


def sources_for(plan: Plan, log: TerminalLog) -> list[Source]:
    """One source for each kind that the plan names; imported only where it is needed."""
    from replay.plan import IMPORTED_SOURCES  # noqa: PLC0415 - as above

    kinds = {sensor.source for sensor in plan.sensors}
    if files := [s.label for s in plan.sensors if s.source in IMPORTED_SOURCES]:
        raise SidebeatError(
            f"a sensor of a file cannot be recorded live ({', '.join(files)}): take it out of the "
            "plan, and bring its file in afterwards with 'sidebeat import'"
        )
    sources: list[Source] = []
    if "simulated" in kinds:
        from live.sources.simulated import SimulatedSource  # noqa: PLC0415

        sources.append(SimulatedSource(plan))
    if "mqtt" in kinds:
        from live.sources.mqtt import MqttSource  # noqa: PLC0415

        sources.append(MqttSource(plan))
    if "node" in kinds:
        from live.sources.node.source import NodeSource  # noqa: PLC0415

        sources.append(NodeSource(plan))
    if "bluetooth" in kinds:
        from live.sources.bluetooth import BluetoothSource, bluetooth_problem  # noqa: PLC0415

        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            problem = runner.run(bluetooth_problem())
        if problem and kinds == {"bluetooth"}:
            raise SidebeatError(problem)
        if problem:
            log.say(f"{problem}  The other sensors are captured meanwhile.")
        sources.append(BluetoothSource(plan))
    return sources
