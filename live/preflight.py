"""What this machine lacks to run Sidebeat, found without anything installed.

Standard library only, and written so that an old Python can still read it: ``python -m live``
and the set-up script use it before the first package is there.
"""

from __future__ import annotations

import ctypes
import importlib.util
import os
import shutil
import sys
import sysconfig
from pathlib import Path

from live import window_probe

OLDEST_PYTHON = (3, 11)

BASE_PACKAGES = {
    "bleak": "bleak",
    "aiomqtt": "aiomqtt",
    "paho": "paho-mqtt",
    "numpy": "numpy",
    "scipy": "scipy",
    "rich": "rich",
    "tomli_w": "tomli-w",
    "msgspec": "msgspec",
    "shtab": "shtab",
}
"""Import name to distribution of what every command stands on."""

WINDOW_PACKAGES = {"PySide6": "PySide6-Essentials", "pyqtgraph": "pyqtgraph"}

REPORT_PACKAGES = {"jinja2": "jinja2", "matplotlib": "matplotlib"}
"""What `sidebeat report` draws and writes with."""

FILE_PACKAGES = {"fitdecode": "fitdecode", "gpxpy": "gpxpy", "pyarrow": "pyarrow"}
"""What reads activity files and writes Parquet."""

PAGE_PACKAGES = {"aiohttp": "aiohttp", "segno": "segno"}
"""What serves the page for a phone, and draws the code that opens it."""

BROKER_PACKAGES = {"amqtt": "amqtt"}
"""What `--embedded-broker` runs."""

CLUSTER_PACKAGES = {"distributed": "distributed"}
"""What hands the work of a study to a cluster."""

WINDOW_LIBRARIES = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libfontconfig.so.1": "libfontconfig1",
    "libdbus-1.so.3": "libdbus-1-3",
    "libxkbcommon.so.0": "libxkbcommon0",
}
"""Shared library to Debian package of what Qt needs even to draw offscreen; found on a bare
Debian 12."""

SCREEN_LIBRARIES = {
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
}
"""What Qt needs on top to open a window on an X screen."""

FONT_PACKAGE = "fonts-dejavu-core"
"""Without any font Qt raises nothing and draws boxes."""

TEST_PROGRAMS = {
    "dbus-daemon": "dbus",
    "mosquitto": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "chromium": "chromium",
    "Xvfb": "xvfb",
    "xdotool": "xdotool",
    "espeak-ng": "espeak-ng",
    "fish": "fish",
    "zsh": "zsh",
}
"""Program to Debian package of what the tests drive."""

TEST_SERVICE_PACKAGE = "python3-dbusmock"
TEST_SERVICE_FILES = (
    Path("/usr/lib/python3/dist-packages/dbusmock"),
    Path(sysconfig.get_path("purelib"), "dbusmock"),
)
"""A service that the tests drive, and where it is: it runs in the system's Python, since its D-Bus
library has no wheels."""


def old_python() -> str:
    """One sentence if this Python is too old, else empty."""
    if sys.version_info[:2] >= OLDEST_PYTHON:
        return ""
    return "Sidebeat needs Python {}.{} or newer; this is Python {}.{} ({}).".format(
        *OLDEST_PYTHON, *sys.version_info[:2], sys.executable
    )


def missing_packages(names: dict[str, str]) -> list[str]:
    """Distributions of ``names`` (import name to distribution) that cannot be imported."""
    return [package for name, package in names.items() if importlib.util.find_spec(name) is None]


def missing_libraries(*tables: dict[str, str]) -> list[str]:
    """Debian packages of the shared libraries that this Linux lacks; empty elsewhere."""
    if not sys.platform.startswith("linux"):
        return []
    lacking = []
    for table in tables:
        for library, package in table.items():
            try:
                ctypes.CDLL(library)
            except OSError:
                lacking.append(package)
    if not any(_has_fonts(Path(place)) for place in _font_folders()):
        lacking.append(FONT_PACKAGE)
    return lacking


def missing_programs() -> list[str]:
    """Debian packages of the programs that the tests drive and this machine lacks."""
    path = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"])
    lacking = [
        pkg for program, pkg in TEST_PROGRAMS.items() if shutil.which(program, path=path) is None
    ]
    if sys.platform.startswith("linux") and not any(p.exists() for p in TEST_SERVICE_FILES):
        lacking.append(TEST_SERVICE_PACKAGE)
    return lacking


def broken_qt() -> str:
    """One sentence if the installed Qt binding is known to crash here, else empty.

    PySide6 6.12.0 loses one reference to ``None`` with each call that returns nothing; before
    Python 3.12 made ``None`` immortal, the process aborts after some 5,000 such calls.
    """
    if sys.version_info >= (3, 12):
        return ""
    from importlib import metadata  # noqa: PLC0415 - it loads a good deal of the library

    for package in ("PySide6-Essentials", "PySide6"):
        try:
            version = metadata.version(package)
        except metadata.PackageNotFoundError:
            continue
        numbers = tuple(int(part) for part in version.split(".")[:2])
        if numbers >= (6, 12):
            return (
                f"{package} {version} crashes on Python {sys.version_info[0]}."
                f"{sys.version_info[1]} after some thousand calls; install an older one: "
                f'{_quoted(sys.executable)} -m pip install "PySide6-Essentials>=6.8,<6.12"'
            )
    return ""


def no_screen() -> str:
    """One sentence if there is no screen to open a window on, else empty."""
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        return "There is no screen here (neither DISPLAY nor WAYLAND_DISPLAY is set)."
    return ""


def no_window() -> str:
    """One sentence saying why the window cannot open on this machine, else empty."""
    if os.environ.get("QT_QPA_PLATFORM", "") not in {"offscreen", "minimal"} and no_screen():
        return no_screen()
    packages = missing_packages(WINDOW_PACKAGES)
    if packages:
        return f"The window needs {_listed(packages)}: {install_line('window')}"
    if broken_qt():
        return broken_qt()
    libraries = missing_libraries(WINDOW_LIBRARIES)
    if libraries:
        return f"The window needs system libraries: {apt_line(libraries)}"
    complaint = window_probe.complaint()
    if complaint:
        libraries = missing_libraries(SCREEN_LIBRARIES)
        if libraries:
            return f"The window needs system libraries: {apt_line(libraries)}"
        return f"No window can be opened here ({complaint})."
    return ""


def install_line(extras: str = "window") -> str:
    """The line that installs what is missing: from the folder of the source, if there is one."""
    what = f'-e ".[{extras}]"' if extras else "-e ."
    if not (Path(__file__).resolve().parent.parent / "pyproject.toml").exists():
        # Installed from a wheel: pip finds Sidebeat there and adds what the extras name.
        what = f'"sidebeat[{extras}]"' if extras else "sidebeat"
    if sys.prefix != sys.base_prefix:
        return f"{_quoted(sys.executable)} -m pip install {what}"
    if sys.platform == "win32":
        return f"py -m venv .venv; .venv\\Scripts\\python -m pip install {what}"
    return f"{_quoted(sys.executable)} -m venv .venv && .venv/bin/python -m pip install {what}"


def apt_line(packages: list[str]) -> str:
    """The line that installs these Debian packages."""
    sudo = "" if hasattr(os, "geteuid") and os.geteuid() == 0 else "sudo "
    return f"{sudo}apt-get install --no-install-recommends {' '.join(packages)}"


def ready() -> bool:
    """Whether the commands can run here; the window may still lack something."""
    return not old_python() and not missing_packages(BASE_PACKAGES)


def report() -> str:
    """All that is missing, as lines for the person at the keyboard; empty if nothing is."""
    if old_python():
        return old_python()
    lines = []
    base = missing_packages(BASE_PACKAGES)
    window = missing_packages(WINDOW_PACKAGES)
    if base:
        lines.append(f"Not installed yet: {_listed(base + window)}.  From this folder, run:")
        if importlib.util.find_spec("ensurepip") is None and sys.prefix == sys.base_prefix:
            lines.append("    " + apt_line(["python3-venv"]))
        lines.append("    " + install_line("window"))
    elif window:
        lines.append(f"The window needs {_listed(window)}; the rest runs.  From this folder, run:")
        lines.append("    " + install_line("window"))
    if broken_qt():
        lines.append(broken_qt())
    libraries = missing_libraries(WINDOW_LIBRARIES, SCREEN_LIBRARIES)
    if libraries:
        lines.append("The window needs system libraries; the rest runs.  On Debian or Ubuntu:")
        lines.append("    " + apt_line(libraries))
    return "\n".join(lines)


def _font_folders() -> list[str]:
    home = os.path.expanduser("~")  # noqa: PTH111 - pathlib's own raises where there is none
    return [
        "/usr/share/fonts", "/usr/local/share/fonts",
        os.path.join(home, ".fonts"), os.path.join(home, ".local/share/fonts"),  # noqa: PTH118
    ]  # fmt: skip


def _has_fonts(folder: Path) -> bool:
    return any(
        name.endswith((".ttf", ".otf", ".ttc")) for _, _, names in os.walk(folder) for name in names
    )


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _quoted(path: str) -> str:
    return f'"{path}"' if " " in path else path
