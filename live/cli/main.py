"""The command line: finds the command, runs it, and turns what went wrong into one sentence.

Each command is a module of this package with ``HELP`` (one line), ``EXAMPLE`` (lines that can be
typed), ``configure(parser)`` and ``run(arguments) -> int``.  A command is imported when it is
asked for, so that ``sidebeat --help`` answers at once.
"""

from __future__ import annotations

import argparse
import importlib
import keyword
import logging
import os
import sys
import textwrap
from collections.abc import Iterable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Final, NoReturn, Protocol

from live import window_probe
from live.cli.defaults import apply_defaults
from live.cli.log_file import Log, kept_log
from live.cli.output import say
from live.cli.patience import patiently
from replay.errors import SidebeatError

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

COMMANDS: Final[dict[str, str]] = {
    "ready": "say whether this computer can record, and what to do where it cannot",
    "sensors": "list the sensors in reach",
    "live": "record a session and watch it",
    "replay": "play a recorded session through the live pipeline",
    "analyse": "print the agreement of one session, with intervals",
    "import": "bring activity files into a capture, beside its sensors or on their own",
    "study": "say what many sessions say: which sensors differ, and what cannot be told apart",
    "export": "write what a capture holds as CSV, Parquet or JSON",
    "report": "write one page about a session, with figures",
    "check": "say whether a capture file is whole",
    "node": "listen near the wearer and pass on what is heard to another computer, over MQTT",
    "demo": "show it all on an invented session; needs no hardware",
    "completion": "print what a shell needs to complete commands, options and file names",
}
"""The commands, in the order in which a tester meets them."""

FAILED: Final = 1
"""The command ran and its answer is bad news (a damaged file)."""
WRONG: Final = 2
"""The command could not be carried out; a sentence on stderr says why."""
UNFORESEEN: Final = 70
"""A fault of the program itself (EX_SOFTWARE of sysexits.h); the log has its trace."""
INTERRUPTED: Final = 130

_NO_MEMORY: Final = (
    "failed to map segment",
    "annot allocate memory",
    "can't start new thread",
)

_PRIVATE: Final = 0o077
"""Heart data is health data: files and folders that are made are for this user alone."""
_VERBOSE: Final = "--verbose"

_WINDOWED: Final = {"live", "replay", "demo"}
_WINDOWLESS: Final = {
    "terminal",
    "none",
    "--view=terminal",
    "--view=none",
    "--json",
    "-h",
    "--help",
}
"""Words with which such a command opens no window."""

_READING: Final = {"analyse", "export", "report", "check"}
"""Commands that read one capture to its end, and show nothing meanwhile."""

_CAUTION: Final = (
    "Not a medical device.  Heart data stays on this machine unless you send it elsewhere."
)

_log = logging.getLogger(__name__)


class Command(Protocol):
    """What the module of a command offers."""

    HELP: str
    EXAMPLE: str

    def configure(self, parser: argparse.ArgumentParser) -> None:
        """Add the command's own arguments."""

    def run(self, arguments: argparse.Namespace) -> int:
        """Carry it out; returns the exit status."""


class _Parser(argparse.ArgumentParser):
    """A parser that names the option that may have been meant."""

    def error(self, message: str) -> NoReturn:
        """Print usage and the complaint, and leave with status 2."""
        words = message.removeprefix("unrecognized arguments: ").split()
        if words and message.startswith("unrecognized"):
            options = [name for action in self._actions for name in action.option_strings]
            near = _nearest(words[0].partition("=")[0], options)
            if near:
                message += f"; did you mean {near[0]}?"
        super().error(message)

    def print_help(self, file: SupportsWrite[str] | None = None) -> None:
        """Print it as any command prints: argparse keeps to itself that it cannot be written."""
        print(self.format_help(), end="", file=file)


def version() -> str:
    """The installed version, or the word for a tree that was never installed."""
    import importlib.metadata  # noqa: PLC0415 - dear, and rarely asked for

    try:
        return importlib.metadata.version("sidebeat")
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


def load(name: str) -> Command:
    """The module of one command."""
    module: Command = importlib.import_module(f"live.cli.{name}{'_' * keyword.iskeyword(name)}")
    return module


def command_parser(name: str) -> argparse.ArgumentParser:
    """The parser of one command, with its example below the options."""
    command = load(name)
    parser = _Parser(
        prog=f"sidebeat {name}",
        description=textwrap.fill(command.HELP, 78),
        epilog="example:\n"
        + "\n".join(f"  {line}" for line in command.EXAMPLE.strip().splitlines()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.configure(parser)
    parser.add_argument(
        _VERBOSE, action="store_true", help="print on stderr, and log, what is merely worth knowing"
    )
    return parser


def overview() -> str:
    """What ``sidebeat --help`` prints."""
    width = max(map(len, COMMANDS))
    listed = "\n".join(f"  {name:<{width}}  {what}" for name, what in COMMANDS.items())
    return (
        "usage: sidebeat [--version] [--help] [COMMAND ...]\n\n"
        "Compare heart-rate sensors with a reference while they are worn.\n\n"
        "Without a command the start page opens, where there is a screen.\n\n"
        f"commands:\n{listed}\n\n"
        "`sidebeat COMMAND --help` tells more, with an example.\n" + _CAUTION
    )


def run(arguments: Sequence[str]) -> int:
    """Carry out one command line; returns the exit status and raises nothing but a bug."""
    _have_streams()
    # A pipe or an old console may not know every sign that labels contain; a replaced sign is
    # better than a session that ends in a traceback.
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    umask = os.umask(_PRIVATE)
    try:
        status = _dispatch(list(arguments))
        sys.stdout.flush()
    except SidebeatError as error:
        _complain(f"sidebeat: {error}")
        return WRONG
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # The reader (head, less) has gone: leave as a program ended by the same signal would.
        _drop_output()
        return 141
    except OSError as error:
        return _cannot_be_written(error)
    except Exception as error:
        with kept_log(verbose=False) as log:
            return _unforeseen(error, log)
    finally:
        os.umask(umask)
    return status


def _drop_output() -> None:
    """Point stdout elsewhere, so that the interpreter's last flush does not complain."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _cannot_be_written(error: OSError) -> int:
    what = error.filename or "what this command prints"
    _drop_output()
    _complain(f"sidebeat: {what}: {error.strerror or error}")
    return WRONG


def _complain(words: str) -> None:
    """Say it on stderr; the status tells of it where that cannot be written either."""
    with suppress(OSError):
        say(words, file=sys.stderr)


def _have_streams() -> None:
    """Make those streams that the program was begun without lead nowhere.

    A file that is opened later would get the number of the one that is missing, and what is
    printed would be written into it.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # the lowest number that is free
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115, PTH123 - for as long as the program runs


def _unforeseen(error: Exception, log: Log) -> int:
    kept = f"; {log.path} tells where" if log.path else ""
    if _is_lack_of_memory(error):
        _log.error("there is not enough memory for this, or a limit is set%s", kept, exc_info=error)
        return WRONG
    # A library's sentence may be a page of advice.
    words = SidebeatError(" ".join(str(error).split()))
    _log.error(
        "an error that nobody foresaw: %s: %s%s", type(error).__name__, words, kept, exc_info=error
    )
    return UNFORESEEN


def _is_lack_of_memory(error: BaseException | None) -> bool:
    """Whether this error, or one that it came of, says that there was no memory.

    Neither a library that does not fit nor a thread has an error of its own for it.
    """
    while error is not None:
        if isinstance(error, MemoryError) or any(words in str(error) for words in _NO_MEMORY):
            return True
        error = error.__cause__ or error.__context__
    return False


def _nearest(name: str, known: Iterable[str]) -> list[str]:
    """The one that may have been meant, if any is near."""
    import difflib  # noqa: PLC0415 - only for what was mistyped

    return difflib.get_close_matches(name, list(known), n=1)


def _no_command(name: str) -> str:
    near = _nearest(name, COMMANDS)
    meant = f"did you mean {near[0]!r}?  There" if near else "there"
    return f"there is no command {name!r}; {meant} are " + ", ".join(COMMANDS)


def _dispatch(arguments: list[str]) -> int:
    if not arguments:
        return _without_command()
    if arguments[0] in {"-h", "--help", "help"}:
        print(overview())
        return 0
    if arguments[0] == "--version":
        print(f"sidebeat {version()}")
        return 0
    return _carry_on(_one(arguments))


def _one(arguments: list[str]) -> int:
    """Carry out one command; what a window wishes for behind it is left to who asked."""
    name = arguments[0]
    if name not in COMMANDS:
        raise SidebeatError(_no_command(name))
    if name in _WINDOWED and not _WINDOWLESS & set(arguments):
        window_probe.begin()  # it takes half a second, while the command is being loaded
    with kept_log(verbose=_VERBOSE in arguments) as log:
        try:
            return _carry_out(name, arguments[1:])
        except (SidebeatError, OSError):
            raise
        except Exception as error:
            return _unforeseen(error, log)


def _carry_out(name: str, options: list[str]) -> int:
    parser = command_parser(name)
    if not {"-h", "--help"} & set(options):
        apply_defaults(parser, name)
    try:
        parsed = parser.parse_args(options)
    except SystemExit as stop:  # argparse has printed its help or its complaint
        return stop.code if isinstance(stop.code, int) else WRONG
    if name not in _READING:
        return load(name).run(parsed)
    with patiently(parsed.file):
        return load(name).run(parsed)


def _without_command() -> int:
    from live.cli.start import home, no_page, tell_where_to_start  # noqa: PLC0415 - as commands are

    if reason := no_page():
        print(overview())
        tell_where_to_start(reason)
        return WRONG
    return home(lambda wish: _one(list(wish)))


def _carry_on(status: int) -> int:
    """What a window that was opened by a command wished for when it was closed."""
    if "live.views.window.parts.wishes" not in sys.modules:
        return status
    from live.cli.start import after_wishes, home  # noqa: PLC0415 - as above
    from live.views.window.parts.wishes import START, taken  # noqa: PLC0415 - as above

    wish = taken()
    if wish is None:
        return status
    if wish != START:
        return after_wishes(wish, lambda one: _one(list(one)))
    return home(lambda one: _one(list(one)))
