"""The start page: what to do next, and what was recorded lately."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Final

from PySide6.QtCore import QPoint, Qt, QTimer, QUrl
from PySide6.QtGui import (
    QCloseEvent,
    QDesktopServices,
    QDragEnterEvent,
    QDropEvent,
    QKeySequence,
    QResizeEvent,
    QShortcut,
)
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QMainWindow,
    QMenu,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from analysis.report.words import zone_text
from live.views.window.parts.appearance import Appearance
from live.views.window.parts.dialogs import CAUTIONS, native
from live.views.window.parts.plain_text import ElidedLabel, Label, tip
from live.views.window.parts.preferences import Preferences, PreferenceStore
from live.views.window.parts.program import Program
from live.views.window.parts.settings import SettingsDialog
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.parts.wishes import wish
from live.views.window.start.capture_list import CaptureList, heading
from live.views.window.start.captures import ListedCapture, capture_paths, listed
from live.views.window.start.import_dialog import ImportDialog
from live.views.window.start.keys import START_KEYS, Start

_POLL_MS: Final = 100


class StartWindow(QMainWindow):
    """``preferences``: of this user.  ``folders``: where captures are looked for beside the
    user's own folder.
    """

    def __init__(
        self,
        preferences: PreferenceStore,
        folders: Sequence[Path] = (),
        *,
        theme: Theme = LIGHT,
        show: Callable[[QUrl], object] = QDesktopServices.openUrl,
    ) -> None:
        super().__init__()
        self.appearance = Appearance(theme)
        self.preferences = preferences
        self.dialog: SettingsDialog | ImportDialog | None = None
        self._folders = list(folders)
        self._show = show
        self._page: Path | None = None
        self._read: list[ListedCapture] = []
        self._stop = threading.Event()
        self._reader: threading.Thread | None = None
        self.program = Program(self)
        self.program.ended.connect(self._program_ended)
        self._build()
        self.setAcceptDrops(True)
        self._timer = QTimer(self)
        self._timer.setInterval(_POLL_MS)
        self._timer.timeout.connect(self.frame)
        self.recall()

    def _build(self) -> None:
        self.setWindowTitle("Sidebeat")
        self.buttons: dict[Start, QPushButton] = {}
        left = QVBoxLayout()
        left.setSpacing(8)
        name = Label("Sidebeat", bold=True)
        name.setObjectName("name")
        left.addWidget(name)
        self.about = Label("Compare heart-rate sensors with a reference while they are worn.")
        self.about.setWordWrap(True)
        left.addWidget(self.about)
        self.shortcuts: dict[Start, QShortcut] = {}
        for key in START_KEYS:
            button = QPushButton(f"{key.button}    {native(key.keys[:1])}")
            button.setAccessibleName(key.button)
            button.setToolTip(tip(key.words))
            button.setObjectName("forward" if key.action is Start.NEW else "plain")
            button.clicked.connect(lambda _=False, start=key.action: self.do(start))
            left.addWidget(button)
            self.buttons[key.action] = button
            shortcut = QShortcut(QKeySequence(key.keys[0]), self)
            shortcut.activated.connect(lambda start=key.action: self.do(start))
            self.shortcuts[key.action] = shortcut
        self.drop = Label("Drop activity files here (FIT, TCX, GPX, CSV) to import them.")
        self.drop.setWordWrap(True)
        self.drop.setObjectName("drop")
        left.addWidget(self.drop)
        left.addStretch(1)
        self.cautions = Label(CAUTIONS)
        self.cautions.setWordWrap(True)
        self.cautions.setObjectName("faint")
        self.cautions.setAccessibleName("Cautions")
        left.addWidget(self.cautions)
        self.list = CaptureList()
        self.list.wanted.connect(self._replay)
        self.list.customContextMenuRequested.connect(self._context_menu)
        right = QVBoxLayout()
        self.recent = Label("Recent captures", bold=True)
        self.clock = Label(f"local time of this computer, {zone_text(datetime.now().astimezone())}")
        self.clock.setObjectName("faint")
        above = QHBoxLayout()
        above.addWidget(self.recent)
        above.addStretch(1)
        above.addWidget(self.clock)
        right.addLayout(above)
        right.addWidget(self.list, 1)
        self.told = ElidedLabel()
        self.told.setAccessibleName("Answer")
        right.addWidget(self.told)
        inside = QWidget()
        across = QHBoxLayout(inside)
        across.setContentsMargins(16, 12, 16, 12)
        across.setSpacing(18)
        # Large text in a small window: what does not fit is scrolled to, not cut.
        side = QWidget()
        side.setLayout(left)
        left.setContentsMargins(0, 0, 4, 0)
        self._side = QScrollArea()
        self._side.setWidget(side)
        self._side.setWidgetResizable(True)
        self._side.setFrameShape(QFrame.Shape.NoFrame)
        self._side.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._side.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._side.setAccessibleName("What to do next")
        self._side.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)
        across.addWidget(self._side)
        across.addLayout(right, 1)
        self.setCentralWidget(inside)
        self.resize(1280, 720)

    # What is listed

    def start(self) -> None:
        """Read the captures from now on."""
        self.buttons[Start.NEW].setFocus()
        self.look_again()
        self._timer.start()

    def look_again(self) -> None:
        """List what there is now."""
        self._end_reading()
        chosen = self.preferences.chosen
        folders = [chosen.captures, *self._folders]
        self.list.captures.show(())
        read: list[ListedCapture] = []
        self._read = read
        stop = self._stop = threading.Event()

        def work() -> None:
            for path in capture_paths(chosen.recent, folders):
                if stop.is_set():
                    return
                read.append(listed(path))

        self._reader = threading.Thread(target=work, name="recent captures", daemon=True)
        self._reader.start()

    def _end_reading(self) -> None:
        self._stop.set()
        if self._reader is not None:
            self._reader.join()
            self._reader = None

    def settle(self) -> None:
        """Wait until all is listed; for tests and pictures."""
        if self._reader is not None:
            self._reader.join()
        self.frame()

    def frame(self) -> None:
        """Show what has been read; called by the timer, and by hand in tests."""
        while self._read and len(self.list.captures.rows) < len(self._read):
            self.list.captures.add(self._read[len(self.list.captures.rows)])
            if not self.list.currentIndex().isValid():
                self.list.setCurrentIndex(self.list.captures.index(0))
        last = self._last()
        button = self.buttons[Start.AGAIN]
        button.setEnabled(last is not None)
        key = next(key for key in START_KEYS if key.action is Start.AGAIN)
        words = key.button if last is None else f"{key.button}: {heading(last)}"
        metrics = button.fontMetrics()
        shown = metrics.elidedText(
            words,
            Qt.TextElideMode.ElideRight,
            max(button.width() - 32 - button.fontMetrics().horizontalAdvance("    A"), 90),
        )
        text = f"{shown}    {native(key.keys[:1])}"
        if button.text() != text:
            button.setText(text)
            button.setAccessibleName(words)

    def _last(self) -> ListedCapture | None:
        """The newest capture that can be worn again: of this user's, not of the demo."""
        rows = self.list.captures.rows
        return next((row for row in rows if row.plan is not None and not row.plan.invented), None)

    # What the user does

    def do(self, start: Start) -> None:
        """Carry out one of the choices."""
        folder = self.preferences.chosen.captures
        match start:
            case Start.NEW:
                self._go("live", "--out", str(folder))
            case Start.AGAIN:
                if (last := self._last()) is not None:
                    self._like(last.path)
            case Start.OPEN:
                self._open()
            case Start.STUDY:
                self._study()
            case Start.DEMO:
                self._go("demo", "--out", str(folder / "demo"))
            case Start.IMPORT:
                self._choose_import()
            case Start.SETTINGS:
                self.dialog = SettingsDialog(self.preferences.chosen, self)
                self.dialog.chosen.connect(self._prefer)
                self.dialog.open()
            case Start.CLOSE:
                self.close()

    def _go(self, *arguments: str) -> None:
        wish(arguments)
        self.close()

    def _like(self, capture: Path) -> None:
        """Set up a session as that of a capture was."""
        out = self.preferences.chosen.captures
        self._go("live", "--out", str(out), "--like", str(capture))

    def _replay(self, capture: ListedCapture) -> None:
        if capture.plan is None:
            self.told.setText(capture.state)
        else:
            self.open_capture(capture.path)

    def open_capture(self, path: Path) -> None:
        """Replay it; it is on top of the list the next time."""
        chosen = self.preferences.chosen
        self.preferences.keep(replace(chosen, recent=chosen.with_recent(path)))
        self._go("replay", str(path))

    def _open(self) -> None:
        start = str(self.preferences.chosen.captures)
        name, _ = QFileDialog.getOpenFileName(self, "Open a capture", start, "Captures (*.sqlite)")
        if name:
            self.open_capture(Path(name))

    def _context_menu(self, spot: QPoint) -> None:
        menu = self.menu_of(self.list.chosen())
        if menu is not None:
            menu.popup(self.list.viewport().mapToGlobal(spot))

    def menu_of(self, capture: ListedCapture | None) -> QMenu | None:
        """What can be done with a capture; ``None`` where nothing can."""
        if capture is None or capture.plan is None:
            return None
        menu = QMenu(self)
        path = capture.path
        for words, act in (
            ("Replay", lambda: self.open_capture(path)),
            ("Report", lambda: self._report(path)),
            ("New session like this", lambda: self._like(path)),
            ("Show the folder", lambda: self._show(QUrl.fromLocalFile(str(path.parent)))),
        ):
            menu.addAction(words).triggered.connect(lambda _=False, act=act: act())
        return menu

    # Commands beside the page

    def _report(self, capture: Path) -> None:
        page = capture.with_suffix(".html")
        self._run(f"writing the report of {capture.name} …", page, "report", str(capture))

    def _study(self) -> None:
        folder = self.preferences.chosen.captures
        if folder.is_dir():
            self._go("study", str(folder), "--view", "window")
        else:
            self.told.setText(f"there are no captures in {folder} yet")

    def _run(self, words: str, page: Path, *arguments: str) -> None:
        if self.program.run([*arguments, "--out", str(page)]):
            self._page = page
            self.told.setText(words)

    def _program_ended(self, status: int, told: str) -> None:
        page, self._page = self._page, None
        if status:
            self.told.setText(told)
        elif page is not None:
            self.told.setText(f"written: {page}")
            self._show(QUrl.fromLocalFile(str(page.absolute())))
        else:
            self.told.setText(f"imported: {told}")
            self.look_again()

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Files are welcome."""
        if event.mimeData().hasUrls():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """A capture is replayed, anything else imported."""
        paths = [Path(url.toLocalFile()) for url in event.mimeData().urls() if url.isLocalFile()]
        event.acceptProposedAction()
        self.take_files(paths)

    def take_files(self, paths: Sequence[Path]) -> None:
        """Open the one capture among them, or ask what the session of the files was."""
        if not paths:
            return
        if len(paths) == 1 and paths[0].suffix == ".sqlite":
            self.open_capture(paths[0])
            return
        self.dialog = ImportDialog(paths, self)
        self.dialog.wanted.connect(self._import)
        self.dialog.open()

    def _choose_import(self) -> None:
        names, _ = QFileDialog.getOpenFileNames(self, "Import activity files")
        self.take_files([Path(name) for name in names])

    def _import(self, arguments: Sequence[str]) -> None:
        out = self.preferences.chosen.captures
        if self.program.run(["import", *arguments, "--out", str(out)]):
            self.told.setText("importing …")

    # Looks

    def recall(self) -> None:
        """Wear what the user chose."""
        self.appearance.recall(self.preferences)
        self.apply_theme()

    def _prefer(self, chosen: Preferences) -> None:
        moved = chosen.captures != self.preferences.chosen.captures
        self.preferences.keep(chosen)
        self.recall()
        if moved:
            self.look_again()

    @property
    def theme(self) -> Theme:
        """The theme in use."""
        return self.appearance.theme

    def apply_theme(self) -> None:
        """Apply the chosen theme, with text of the chosen size."""
        theme, points = self.theme, self.appearance.font.pointSizeF()
        self.appearance.apply(
            self,
            f"""
            QLabel#name {{ font-size: {2 * points:g}pt; }}
            QLabel#faint {{ color: {theme.faint}; font-size: {0.9 * points:g}pt; }}
            QLabel#drop {{ border: 2px dashed {theme.frame}; padding: 10px; color: {theme.faint}; }}
            QPushButton {{ text-align: left; padding: 7px 12px; }}
            QPushButton#forward {{
                background: {theme.ink}; color: {theme.ground}; font-weight: bold;
            }}
            QPushButton#forward:focus {{ border: 2px solid {theme.focus}; }}
            """,
        )
        self.list.apply_theme(theme)
        self._widen()

    def _widen(self) -> None:
        letters = 42 * self.fontMetrics().averageCharWidth()
        self._side.setFixedWidth(min(letters, round(0.45 * self.width())))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The side never takes half of a small window."""
        super().resizeEvent(event)
        self._widen()

    def closeEvent(self, event: QCloseEvent) -> None:
        """Let go of what is being read and written."""
        self._timer.stop()
        self._end_reading()
        self.program.close()
        event.accept()
