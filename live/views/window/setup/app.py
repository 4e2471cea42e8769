"""Opening the set-up page, and going on as the live window of the capture it starts."""

from __future__ import annotations

import signal
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from live.notify.options import DEFAULT_OPTIONS, NotifyOptions
from live.views.window.parts.application import interruptible, open_application, system_theme
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.preferences import PreferenceStore, preferences_path

if TYPE_CHECKING:
    from live.protocol.capture_feed import CaptureFeed
    from live.views.window.live.main_window import MainWindow
    from live.views.window.setup.window import SetupWindow


def run_setup(
    out: Path | None,
    *,
    minutes: float | None = None,
    on_warning: tuple[str, ...] = (),
    options: NotifyOptions = DEFAULT_OPTIONS,
    like: Path | None = None,
) -> int:
    """Set up a session in a window, record it, show it; returns the exit status.

    ``out``: folder for the capture, ``None`` for practice.  ``on_warning``: command for each
    warning, in place of the plan's.  ``options``: how the live window calls the tester.  ``like``:
    a capture whose plan is worn again, straight to its checks.  Returns when the window is closed
    and the capture, which is a process of its own, has ended.  Raises
    :class:`~live.views.window.parts.application.WindowMissing` with the line that installs what is
    lacking.
    """
    application = open_application()
    from live.views.window.setup.window import SetupWindow  # noqa: PLC0415 - Qt, known to be there now

    theme = system_theme(application)
    window = SetupWindow(out, minutes=minutes, on_warning=on_warning, theme=theme)
    store = PreferenceStore(preferences_path())
    window.recall(store)
    options = options.preferring(store.chosen.sounds_option, voice=store.chosen.voice)
    shown: list[MainWindow] = []
    interrupts = signal.getsignal(signal.SIGINT)

    def go_on(feed: CaptureFeed) -> None:
        # Ctrl-C in the terminal reaches the capture too; it is meant for the capture alone now,
        # whose end the window then shows.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        shown.append(live_window(window, feed, options))
        folder = window.plan_page.form.out
        if folder is not None:
            recent = store.chosen.with_recent(folder / feed.title)
            store.keep(replace(store.chosen, recent=recent))

    window.recording.connect(go_on)
    window.showMaximized()
    window.start()
    if like is not None:
        wear_again(window, like)
    try:
        with interruptible(application), DrawingFaults().hook():
            application.exec()
    finally:
        window.leave()
        if window.rehearsal is not None:
            window.rehearsal.wait_for_end()
        for live in shown:
            live.leave()
    status = _until_the_capture_ends(window)
    signal.signal(signal.SIGINT, interrupts)
    return status


def wear_again(window: SetupWindow, capture: Path) -> None:
    """Propose the plan of a capture, and go on to its checks if nothing is missing or doubtful."""
    from live.views.window.setup.keys import Step  # noqa: PLC0415 - with the window
    from replay.capture import Capture  # noqa: PLC0415 - only where it is asked for

    with Capture.open(capture) as opened:
        window.plan_page.show_plan(opened.plan)
    builder = window.plan_page.builder
    if not builder.problems() and not builder.doubts():
        window.do(Step.FORWARD)


def live_window(
    window: SetupWindow, feed: CaptureFeed, options: NotifyOptions = DEFAULT_OPTIONS
) -> MainWindow:
    """Show the capture's live window in the place of the set-up page."""
    from PySide6.QtWidgets import QApplication  # noqa: PLC0415 - Qt, known to be there

    from live.notify.factory import notifier_of  # noqa: PLC0415 - as above
    from live.views.window.live.main_window import MainWindow  # noqa: PLC0415 - as above

    live = MainWindow(feed, window.theme)
    live.notifier = notifier_of(feed, options, QApplication.beep)
    live.appearance = window.appearance
    if window.appearance.remembered is not None:
        live.recall(window.appearance.remembered)
    live.apply_theme()
    if not window.cautions.isVisible():
        live.cautions.hide()
    live.setGeometry(window.geometry())
    live.frame()  # what is seen first is a whole picture
    if window.isMaximized():
        live.showMaximized()
    else:
        live.show()
    live.start()
    window.close()
    return live


def _until_the_capture_ends(window: SetupWindow) -> int:
    rehearsal = window.rehearsal
    if rehearsal is None or rehearsal.recording is None:
        return 0
    # Ctrl-C reaches the capture as well, which then ends in good order; that is waited for.
    # Before the sentence: it invites to press it.
    signal.signal(signal.SIGINT, lambda *_: None)
    child = rehearsal.child
    if not child.has_ended:
        print(
            "The capture goes on.  Attach a view again with 'sidebeat live --attach', "
            "stop it there or with Ctrl-C here.",
            file=sys.stderr,
            flush=True,
        )
    return child.wait()
