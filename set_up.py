"""Make this folder ready to run: system packages, a virtual environment, Sidebeat in it.

    python set_up.py           to use Sidebeat
    python set_up.py test      to run its tests as well

Standard library only.  Run it as often as you like: what is there already is left alone.  As root
on Debian or Ubuntu it installs missing system packages; otherwise it prints the one command that
does and goes on with what works without them.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from live import preflight

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
SERVICE_POLICY = Path("/usr/sbin/policy-rc.d")
STAMP = VENV / "sidebeat-setup.txt"
"""What was installed, as a checksum of what it depends on, for each set of extras."""

PURPOSES = {"run": "window,broker,files,page,report", "test": "window,test"}
"""The extras to install, by what the folder is set up for."""

SIZES = {"run": "0.8 GB", "test": "1.2 GB"}
"""Of the environment, as `du` tells on Linux."""

DONE = "SIDEBEAT_SET_UP"
"""The environment variable by which make tells its parts what it has set up for."""

VENV_PACKAGE = "python3-venv"

STEP_MB = 50
_SIZE = re.compile(r"^\s*(?:Downloading|Using cached) \S+ \(([\d.]+) ([kMG])B\)")
_IN_MB = {"k": 1e-3, "M": 1.0, "G": 1e3}

REAL_FILES = VENV / "share" / "activity-files"
REAL_FILES_FROM = "sweat==0.25.0"
"""A wheel (MIT) that ships real FIT, TCX and GPX files, on which the parsers are tested.  Its files
alone are wanted: they lie apart from the environment, where its old pins would be in the way."""


def main(arguments: list[str]) -> int:
    """Set up for ``run`` (default) or ``test``; returns the exit status."""
    purpose = arguments[0] if arguments else "run"
    if purpose not in PURPOSES or len(arguments) > 1:
        return _fail("say `python set_up.py` or `python set_up.py test`")
    if preflight.old_python():
        return _fail(preflight.old_python() + "  With make: make PYTHON=python3.12 demo")
    if os.environ.get(DONE) == purpose:  # a part of make's work, and make has set up before
        return 0
    wanted = _lacking(purpose)
    if wanted and not _system_packages(wanted):
        if VENV_PACKAGE in wanted:
            return _no_environment(wanted)
        print("Missing system packages; going on with what works without them.  To install them:")
        print("    " + preflight.apt_line(wanted), flush=True)
    if not _environment():
        return 1
    if not _packages(purpose):
        return 1
    if purpose == "test":
        _real_files()
    return 0


def _lacking(purpose: str) -> list[str]:
    """Debian packages that this machine lacks; the indispensable one last."""
    wanted = preflight.missing_libraries(preflight.WINDOW_LIBRARIES, preflight.SCREEN_LIBRARIES)
    if purpose == "test":
        wanted += preflight.missing_programs()
    if importlib.util.find_spec("ensurepip") is None and not _python(VENV).exists():
        wanted.append(VENV_PACKAGE)
    return wanted


def _system_packages(wanted: list[str]) -> bool:
    """Install them, where one may; returns whether that was tried."""
    if sys.platform.startswith("linux") and shutil.which("apt-get") and os.geteuid() == 0:
        print(f"Installing system packages: {' '.join(wanted)}", flush=True)
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        apt = ["apt-get", "-qq", "-o", "Dpkg::Use-Pty=0"]
        install = [*apt, "install", "--no-install-recommends", "-y", *wanted]
        # What apt says while all goes well fills screens; its errors are shown.
        with _no_service_begins():
            for command in ([*apt, "update"], install):
                done = subprocess.run(
                    command, env=environment, stdout=subprocess.DEVNULL, check=False
                )
        if done.returncode == 0:
            return True
        # A package that this release does not have must not cost the others.
        for package in wanted:
            single = [*apt, "install", "--no-install-recommends", "-y", package]
            subprocess.run(single, env=environment, stdout=subprocess.DEVNULL, check=False)
        print("Not all could be installed; going on with what works without them.", flush=True)
        return True
    return False


@contextmanager
def _no_service_begins() -> Iterator[None]:
    """Keep a package that is installed from starting its service meanwhile.

    The tests start a broker of their own; nobody has asked for one on this machine's port 1883.
    Debian's packages ask this program first (Debian Policy 9.3.3.1: 101 is "not allowed").
    """
    try:
        with SERVICE_POLICY.open("x", encoding="ascii") as policy:
            policy.write("#!/bin/sh\nexit 101\n")
        SERVICE_POLICY.chmod(0o755)
    except OSError:  # the machine has a policy of its own, as most containers do
        yield
        return
    try:
        yield
    finally:
        SERVICE_POLICY.unlink(missing_ok=True)


def _environment() -> bool:
    """Make the virtual environment, or mend one that lost its Python."""
    if _runs(VENV):
        return True
    print(f"Making a virtual environment in {VENV.name}", flush=True)
    made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)], check=False)
    if made.returncode or not _runs(VENV):
        _no_environment([VENV_PACKAGE])
        return False
    return True


def _no_environment(wanted: list[str]) -> int:
    return _fail(
        "this Python can make no virtual environment, and Sidebeat needs one.  On Debian or Ubuntu "
        "run this once, then the same command again:\n    " + preflight.apt_line(wanted)
    )


def _packages(purpose: str) -> bool:
    checksum = _checksum()
    done = STAMP.read_text(encoding="utf-8").split() if STAMP.exists() else []
    if done[:1] == [checksum] and {purpose, "test"} & set(done[1:]):
        return True
    print(
        f"Installing Sidebeat and what it stands on into {VENV.name}: {SIZES[purpose]} on "
        "the disk, some minutes the first time",
        flush=True,
    )
    for extras in (PURPOSES[purpose], *(["test"] if purpose == "test" else [""])):
        what = f"{ROOT}[{extras}]" if extras else str(ROOT)
        pip = [str(_python(VENV)), "-m", "pip", "install", "--progress-bar", "off"]
        pip += ["--disable-pip-version-check", "--editable", what]
        if _told(pip) == 0:
            if extras == PURPOSES[purpose]:
                STAMP.write_text(f"{checksum} {purpose}\n", encoding="utf-8")
            return True
        if "window" in extras:
            print("The window's packages could not be installed; trying without", flush=True)
    _fail("the packages could not be installed; pip's messages above say why")
    return False


def _told(pip: list[str]) -> int:
    """Run pip and say how far it is, in some lines instead of its hundreds; returns its status."""
    fetched_mb, said_mb = 0.0, 0.0
    with subprocess.Popen(pip, stdout=subprocess.PIPE, text=True, errors="replace") as process:
        for line in process.stdout or ():
            size = _SIZE.search(line)
            if size is not None:
                fetched_mb += float(size[1]) * _IN_MB[size[2]]
            if fetched_mb - said_mb >= STEP_MB:
                said_mb = fetched_mb
                print(f"    {fetched_mb:.0f} MB fetched", flush=True)
            if line.startswith("Installing collected packages"):
                count = line.count(",") + 1
                print(f"    {count} packages are being unpacked", flush=True)
    return process.returncode


def _real_files() -> None:
    if REAL_FILES.exists():
        return
    pip = [str(_python(VENV)), "-m", "pip", "install", "-qq", "--disable-pip-version-check"]
    pip += ["--no-deps", "--only-binary", ":all:", "--target", str(REAL_FILES), REAL_FILES_FROM]
    if subprocess.run(pip, check=False).returncode:
        shutil.rmtree(REAL_FILES, ignore_errors=True)
        print("Real activity files could not be fetched; the tests that read them are skipped")


def _checksum() -> str:
    told = (ROOT / "pyproject.toml").read_bytes() + sys.version.encode()
    return hashlib.sha256(told).hexdigest()


def _python(folder: Path) -> Path:
    return folder / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")


def _runs(folder: Path) -> bool:
    if not _python(folder).exists():
        return False
    told = subprocess.run(
        [str(_python(folder)), "-c", "import pip, sys; print(*sys.version_info[:2])"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return told.stdout.split() == [str(part) for part in sys.version_info[:2]]


def _fail(sentence: str) -> int:
    print(f"set-up: {sentence}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
