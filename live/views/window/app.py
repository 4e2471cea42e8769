"""Opening the window on a feed."""

from __future__ import annotations

import gc
from dataclasses import replace
from typing import TYPE_CHECKING

from live.notify.options import DEFAULT_OPTIONS, NotifyOptions
from live.protocol.feed import Feed
from live.protocol.file_feed import FileFeed
from live.views.window.parts.application import interruptible, open_application, system_theme
from live.views.window.parts.preferences import PreferenceStore, preferences_path

if TYPE_CHECKING:
    from live.views.window.live.main_window import MainWindow
    from live.views.window.parts.theme import Theme


def run_window(feed: Feed, options: NotifyOptions = DEFAULT_OPTIONS) -> int:
    """Show a feed in a window until it is closed; returns the exit status.

    ``options``: how it calls the tester.

    Raises :class:`~live.views.window.parts.application.WindowMissing` with the line that installs
    what is lacking.
    """
    application = open_application()
    from live.notify.factory import notifier_of  # noqa: PLC0415 - once Qt is known to be there

    window = window_on(feed, system_theme(application))
    store = PreferenceStore(preferences_path())
    window.recall(store)
    if isinstance(feed, FileFeed):
        recent = store.chosen.with_recent(feed.capture.path)
        store.keep(replace(store.chosen, recent=recent))
    else:
        options = options.preferring(store.chosen.sounds_option, voice=store.chosen.voice)
    window.notifier = notifier_of(feed, options, application.beep)
    window.frame()  # what is seen first is a whole picture
    window.showMaximized()
    window.start()
    # What stands by now stays.  Going over all of it in search of cycles takes 60 ms, half the time
    # of a picture, again and again while it runs; what a session adds is a tenth of it.
    gc.freeze()
    try:
        with interruptible(application), window.faults.hook():
            return application.exec()
    finally:
        gc.unfreeze()
        window.leave()
        feed.close()


def window_on(feed: Feed, theme: Theme) -> MainWindow:
    """A window on a feed, with its review where the feed is a file."""
    from live.views.window.live.main_window import MainWindow  # noqa: PLC0415 - Qt, known to be there

    if not isinstance(feed, FileFeed):
        return MainWindow(feed, theme)
    # The statistics behind it take half a second to load, which a live window has not got.
    from live.views.window.review.controller import ReviewController  # noqa: PLC0415 - see above

    return MainWindow(feed, theme, review_of=ReviewController)
