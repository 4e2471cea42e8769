"""A D-Bus daemon of our own, so that no test ever touches the computer's system bus.

``PrivateBus(folder)`` starts ``dbus-daemon`` with its own configuration and socket in
``folder``.  Programs reach it when ``DBUS_SYSTEM_BUS_ADDRESS`` holds ``bus.address``.
``kill()`` ends it as a crash would; ``start()`` brings it back under the same address.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

_CONFIGURATION = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>custom</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
"""


class PrivateBus:
    """One private ``dbus-daemon``; a context manager that starts and ends it."""

    def __init__(self, folder: Path) -> None:
        self._socket = folder / "bus"
        self._configuration = folder / "bus.conf"
        self._configuration.write_text(_CONFIGURATION.format(socket=self._socket))
        self._process: subprocess.Popen[bytes] | None = None

    @staticmethod
    def is_possible() -> bool:
        """Whether ``dbus-daemon`` is installed."""
        return shutil.which("dbus-daemon") is not None

    @property
    def address(self) -> str:
        """What ``DBUS_SYSTEM_BUS_ADDRESS`` must hold."""
        return f"unix:path={self._socket}"

    def start(self) -> None:
        """Start the daemon and wait until it listens."""
        self._socket.unlink(missing_ok=True)
        self._process = subprocess.Popen(
            [
                "dbus-daemon",
                f"--config-file={self._configuration}",
                "--nofork",
                "--nopidfile",
                "--print-address=1",
            ],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        assert self._process.stdout is not None
        if not self._process.stdout.readline():
            raise RuntimeError("dbus-daemon did not start")

    def kill(self) -> None:
        """End the daemon at once, as a crash would: every client's socket breaks."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            assert self._process.stdout is not None
            self._process.stdout.close()
            self._process = None

    def __enter__(self) -> PrivateBus:
        self.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self.kill()
