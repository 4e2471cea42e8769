"""The lowest line: what is being recorded or shown, and whether all of it is safe."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QStatusBar

from analysis.report.words import count
from live.protocol.feed import CaptureStatus
from live.protocol.view_model import ViewModel, late_words, rules_off
from live.views.window.parts.appearance import dress
from live.views.window.parts.dialogs import native
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.number_format import clock, wall_clock
from live.views.window.parts.plain_text import ClockLabel, ElidedLabel, Label
from live.views.window.parts.theme import Theme

_LATE_COMMIT_S = 3.0
"""The capture commits twice a second; three seconds without one are worth a look."""


def capture_words(status: CaptureStatus | None, *, is_stale: bool = False) -> str:
    """File, events and last commit in words; ``is_stale``: none of these is of now any more."""
    if status is None:
        return ""
    if not status.path:
        return f"practice, nothing is saved · {count(status.events)} events"
    if is_stale:
        return Path(status.path).name
    saved = f"{count(status.events)} events, {count(status.saved)} on disk"
    commit = f"last commit {status.commit_age_s:.1f} s ago"
    # The file last: where there is not room for all, it is what can be done without.
    return f"{saved} · {commit} · {Path(status.path).name}"


def fault_words(model: ViewModel, faults: DrawingFaults) -> str:
    """What has failed in this view: errors in drawing and judging, and rules that are off."""
    counts = {"drawing": faults.count, "judging": model.faults}
    found = [f"errors in {where}: {count}" for where, count in counts.items() if count]
    off = rules_off(model.snapshot())
    return " · ".join(filter(None, [*found, off, late_words(model.board.late)]))


class StatusLine(QStatusBar):
    """File, events, last commit; ``notice``, an answer to the user; faults; kind of data; times."""

    def __init__(self, title: str, notice: Label, *, is_live: bool, invented: bool) -> None:
        super().__init__()
        self._title = title
        self._is_live = is_live
        self.setSizeGripEnabled(False)
        self.setContentsMargins(6, 0, 6, 2)
        self.capture = ElidedLabel()
        self.capture.setAccessibleName("Capture")
        self.addWidget(self.capture, 3)
        self.notice = notice
        notice.setObjectName("notice")
        self.addWidget(notice, 2)
        self.faults = ElidedLabel(most=40)
        self.faults.setObjectName("faults")
        self.faults.setAccessibleName("Faults of drawing")
        self.addPermanentWidget(self.faults)
        self.invented = Label()
        self.invented.setObjectName("invented")
        self.invented.setAccessibleName("Kind of data")
        self.invented.setText("INVENTED DATA" if invented else "")
        self.invented.setVisible(invented)
        self.addPermanentWidget(self.invented)
        self.state = ElidedLabel(most=36)
        self.state.setAccessibleName("State")
        self.addPermanentWidget(self.state)
        self.elapsed = ClockLabel()
        self.elapsed.setAccessibleName("Time since the start")
        self.addPermanentWidget(self.elapsed)
        self.wall = ClockLabel()
        self.wall.setAccessibleName("Time of day")
        self.addPermanentWidget(self.wall)
        self.faults.hide()

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        # One sheet for all: each part with one of its own is styled by each of those above it.
        dress(
            self,
            f"""
            QStatusBar::item {{ border: none; }}
            QLabel {{ color: {theme.ink}; }}
            QLabel#invented {{
                border: 1px dashed {theme.ink}; padding: 0 6px; font-weight: bold;
            }}
            QLabel#notice {{ font-weight: bold; }}
            QLabel#faults {{ color: {theme.alarm}; font-weight: bold; }}
            """,
        )

    def show_state(self, now_s: float, model: ViewModel, faults: str) -> None:
        """Bring the line up to date.  ``faults``: words on errors in drawing, empty for none."""
        status, ended = model.status, model.ended
        is_stale = model.is_stale
        words = self._title if status is None else capture_words(status, is_stale=is_stale)
        if status is not None and status.problem:
            words = f"PROBLEM: {status.problem} · {words}"
        elif status is not None and status.path and status.commit_age_s > _LATE_COMMIT_S:
            words = f"PROBLEM: nothing was saved for {status.commit_age_s:.0f} s · {words}"
        if status is not None and status.trouble:
            words = f"{words} · {status.trouble}"
        if status is not None and status.page and ended is None:
            words = f"{words} · page for the phone: {native(('Ctrl+K',))}"
        _set(self.capture, words)
        if ended is not None:
            state = f"ended: {ended.reason}"
        elif is_stale:
            state = model.halted
        elif not self._is_live:
            state = "replay"
        else:
            state = "practice" if status is not None and not status.path else "recording"
        _set(self.state, state)
        _set(self.elapsed, clock(now_s))
        _set(self.wall, wall_clock(model.snapshot().utc_ns))
        # Its room is the capture's while it is empty.
        self.notice.setVisible(bool(self.notice.text()))
        _set(self.faults, faults)
        self.faults.setVisible(bool(faults))


def _set(label: Label, text: str) -> None:
    """Only what changed is painted again."""
    if label.text() != text:
        label.setText(text)
        label.setAccessibleDescription(text)
