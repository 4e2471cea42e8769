"""Opening the start page."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from live.views.window.parts.application import interruptible, open_application, system_theme
from live.views.window.parts.drawing_faults import DrawingFaults
from live.views.window.parts.preferences import PreferenceStore, preferences_path


def run_start(folders: Sequence[Path] = (), told: str = "") -> int:
    """Show the start page until something is chosen or it is closed; returns the exit status.

    ``folders``: where captures are looked for beside the user's own folder.  ``told``: what went
    wrong with the last choice.  What was chosen is
    then a wish (:mod:`live.views.window.parts.wishes`).  Raises
    :class:`~live.views.window.parts.application.WindowMissing` with the line that installs what
    is lacking.
    """
    application = open_application()
    from live.views.window.start.window import StartWindow  # noqa: PLC0415 - Qt, known to be there now

    store = PreferenceStore(preferences_path())
    window = StartWindow(store, folders, theme=system_theme(application))
    window.told.setText(told)
    window.showMaximized()
    window.start()
    with interruptible(application), DrawingFaults().hook():
        status = application.exec()
    window.close()
    window.deleteLater()
    return status
