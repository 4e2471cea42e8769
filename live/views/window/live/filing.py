"""The menu "File": start page, another capture, report, exports, settings."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QApplication, QFileDialog, QWidget

from live.protocol.file_feed import FileFeed
from live.protocol.view_model import ViewModel
from live.views.window.live.taking_away import ReportWriter, numbers_text, stretch_csv
from live.views.window.parts.frame import Frame
from live.views.window.parts.keys import Action
from live.views.window.parts.page_code import PageCode
from live.views.window.parts.preferences import Preferences
from live.views.window.parts.settings import SettingsDialog
from live.views.window.parts.wishes import START, wish


class Filing(QObject):
    """``frame``: what is in the picture.  ``picture_of``: the panels that are exported.  ``go``:
    closes the window, so that a wish is carried out.
    """

    def __init__(
        self,
        window: QWidget,
        model: ViewModel,
        frame: Callable[[], Frame],
        picture_of: QWidget,
        say: Callable[[str], None],
    ) -> None:
        super().__init__(window)
        self._window = window
        self._model = model
        self._frame = frame
        self._picture_of = picture_of
        self._say = say
        self.report = ReportWriter(self)
        self.report.said.connect(say)
        self.settings: SettingsDialog | None = None
        self.page: PageCode | None = None
        self.preferences: Callable[[], Preferences] = Preferences
        self.prefer: Callable[[Preferences], None] = lambda _: None
        self.actions: dict[Action, Callable[[], None]] = {
            Action.START_PAGE: lambda: self.go(START),
            Action.OPEN: self._open,
            Action.REPORT: self._report,
            Action.REPLAY: self._replay,
            Action.SAVE_CSV: self._save_csv,
            Action.SAVE_PICTURE: self._save_picture,
            Action.COPY: self._copy,
            Action.SETTINGS: self._settings,
            Action.PAGE: self._page,
        }

    @property
    def capture(self) -> Path | None:
        """The capture file, once it is whole: of a replay, or of a recording that has ended."""
        feed, status = self._model.feed, self._model.status
        if isinstance(feed, FileFeed):
            return feed.capture.path
        if self._model.ended is None or status is None or not status.path:
            return None
        return Path(status.path)

    def is_able(self, action: Action) -> bool:
        """Whether an action of this menu can be done now."""
        if action is Action.PAGE:
            return self._model.status is not None and bool(self._model.status.page)
        if action is Action.REPLAY:
            return self.capture is not None and self._model.feed.is_live
        return action is not Action.REPORT or self.capture is not None

    def go(self, arguments: tuple[str, ...]) -> None:
        """Wish for another command, and close the window for it."""
        wish(arguments)
        self._window.close()

    def _open(self) -> None:
        name, _ = QFileDialog.getOpenFileName(
            self._window, "Open a capture", str(self.preferences().captures), "Captures (*.sqlite)"
        )
        if name:
            self.go(("replay", name))

    def _report(self) -> None:
        capture = self.capture
        if capture is None:
            self._say("the report is written once the recording has ended")
        else:
            self.report.write(capture)

    def _replay(self) -> None:
        if self.is_able(Action.REPLAY):
            self.go(("replay", str(self.capture)))

    def _save_csv(self) -> None:
        frame = self._frame()
        name, _ = QFileDialog.getSaveFileName(
            self._window, "Export the stretch in sight", self._named(".csv"), "Tables (*.csv)"
        )
        if name:
            self.save_csv(Path(name), frame)

    def save_csv(self, path: Path, frame: Frame) -> None:
        """Write the stretch in sight; what goes wrong is said."""
        try:
            path.write_text(stretch_csv(frame), encoding="utf-8")
        except OSError as error:
            self._say(f"{path} could not be written: {error.strerror}")
        else:
            self._say(f"written: {path}")

    def _save_picture(self) -> None:
        picture = self._picture_of.grab()
        name, _ = QFileDialog.getSaveFileName(
            self._window, "Export the time panels", self._named(".png"), "Pictures (*.png)"
        )
        if name:
            done = picture.save(name)
            self._say(f"written: {name}" if done else f"{name} could not be written")

    def _named(self, ending: str) -> str:
        capture = self.capture
        return f"{'session' if capture is None else capture.stem}{ending}"

    def _copy(self) -> None:
        QApplication.clipboard().setText(numbers_text(self._frame()))
        self._say("the sensors' numbers are on the clipboard")

    def _page(self) -> None:
        status = self._model.status
        if status is None or not status.page:
            self._say("no page is served: begin with 'sidebeat live --page'")
            return
        self.page = PageCode(status.page, status.page_to_look, self._window)
        self.page.open()

    def _settings(self) -> None:
        self.settings = SettingsDialog(self.preferences(), self._window)
        self.settings.chosen.connect(self.prefer)
        self.settings.open()
