"""Opening the study page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from live.views.window.parts.application import interruptible, open_application, system_theme
from live.views.window.parts.preferences import PreferenceStore, preferences_path

if TYPE_CHECKING:
    from live.views.window.study.window import StudyRequest


def run_study(request: StudyRequest) -> str:
    """Read a study and show it until the window is closed; returns what stood against it, or
    nothing.

    Raises :class:`~live.views.window.parts.application.WindowMissing` with the line that installs
    what is lacking.
    """
    application = open_application()
    from live.views.window.study.window import StudyWindow  # noqa: PLC0415 - Qt, known to be there now

    window = StudyWindow(request, system_theme(application))
    window.recall(PreferenceStore(preferences_path()))
    window.showMaximized()
    with interruptible(application), window.faults.hook():
        application.exec()
    problem = window.problem
    window.close()
    window.deleteLater()
    return problem
