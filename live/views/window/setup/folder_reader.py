"""What lies in the folder for the capture and concerns the session that is set up: past plans, and
the study.  Each is read in a thread of its own.
"""

from __future__ import annotations

import threading
from pathlib import Path

from live.setup.study_advice import StudyReader
from live.setup.swaps import past_plans
from live.views.window.setup.plan_page import PlanPage
from replay.plan import Plan


class FolderReader:
    """Reads for a page, and tells it."""

    def __init__(self, page: PlanPage) -> None:
        self._page = page
        self.study = StudyReader()
        self._past_of: Path | None = None
        self._past: list[Plan] | None = None

    def poll(self) -> None:
        """Begin to read where the folder is another one, and tell what has been read."""
        page, folder = self._page, self._page.form.out
        if self.study.poll(page.builder.study, folder):
            page.know_study(self.study)
        if folder is not None and folder != self._past_of:
            self._past_of = folder

            def read() -> None:
                self._past = past_plans(folder)

            threading.Thread(target=read, name="past plans", daemon=True).start()
        if self._past is not None:
            plans, self._past = self._past, None
            page.know_past(plans)
