"""Commands of this program, run beside the window in a process of their own."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from PySide6.QtCore import QObject, QProcess, Signal


class Program(QObject):
    """Runs one command at a time.  ``ended``: its exit status and what it said last."""

    ended = Signal(int, str)

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._process: QProcess | None = None

    @property
    def is_busy(self) -> bool:
        """Whether a command is running."""
        return self._process is not None

    def run(self, arguments: Sequence[str]) -> bool:
        """Begin; false while another one runs."""
        if self._process is not None:
            return False
        process = QProcess(self)
        process.finished.connect(lambda status, _=None: self._finished(int(status)))
        process.errorOccurred.connect(self._failed)
        self._process = process
        process.start(sys.executable, ["-P", "-m", "live", *arguments])
        return True

    def _finished(self, status: int) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        told = b"" if status == 0 else bytes(process.readAllStandardError().data())
        told = told or bytes(process.readAllStandardOutput().data())
        lines = told.decode(errors="replace").strip().splitlines()
        process.deleteLater()
        self.ended.emit(status, lines[-1].removeprefix("sidebeat: ") if lines else "")

    def _failed(self, error: QProcess.ProcessError) -> None:
        if error is QProcess.ProcessError.FailedToStart and self._process is not None:
            self._process = None
            self.ended.emit(2, "Python cannot be started")

    def close(self) -> None:
        """What is running is left unfinished."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.waitForFinished(2000)
