"""Settings: looks, what is heard, and where captures lie.  Each counts as soon as it is chosen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from PySide6.QtCore import QTimer, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QDoubleSpinBox,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from live.notify.player import Player
from live.notify.sounds import Sound
from live.notify.voice import Voice
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.plain_text import Label
from live.views.window.parts.preferences import MOST_TOLERANCE, SIZES, SOUNDS, Preferences
from replay.plan import Plan, PlannedSensor

_THEMES: Final = (("", "as the system has it"), ("light", "light"), ("dark", "dark"))
_SOUND_WORDS: Final = ("as the plan says", "on", "off")
_TEND_MS: Final = 100
_NOBODY: Final = Plan(
    wearer="W1",
    activity="test",
    sensors=(PlannedSensor(label="strap", role="reference", name="strap"),),
)


class SettingsDialog(QDialog):
    """``chosen``: new settings, after each change."""

    chosen = Signal(object)

    def __init__(
        self,
        now: Preferences,
        parent: QWidget | None = None,
        *,
        player: Player | None = None,
        voice: Voice | None = None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Settings – Sidebeat")
        self.setAccessibleName("Settings")
        self.now = now
        self._player, self._voice = player, voice
        form = QFormLayout()
        self.theme = self._choice("Theme", [words for _, words in _THEMES])
        self.theme.setCurrentIndex([name for name, _ in _THEMES].index(now.theme or ""))
        self.text_size = self._choice("Size of text", [f"{100 * size:.0f} %" for size in SIZES])
        self.text_size.setCurrentIndex(now.size)
        self.sounds = self._choice("Sounds", list(_SOUND_WORDS))
        self.sounds.setCurrentIndex(SOUNDS.index(now.sounds))
        self.try_sound = self._button("test", "Test the sounds", self._try_sound)
        self.voice = QCheckBox("speak warnings")
        self.voice.setAccessibleName("Speak warnings")
        self.voice.setChecked(now.voice)
        self.try_voice = self._button("test", "Test the voice", self._try_voice)
        # 0 bpm is no tolerance that anybody could mean: there the last session's is taken.
        self.bpm, self.percent = _tolerance_field(" bpm"), _tolerance_field(" %")
        self.bpm.setAccessibleName("Tolerance in bpm; 0 takes that of the last session")
        self.percent.setAccessibleName("Tolerance in percent of the reference")
        self.bpm.setSpecialValueText("as last time")
        self.bpm.setValue(now.tolerance[0] if now.tolerance else 0.0)
        self.percent.setValue(now.tolerance[1] if now.tolerance else 10.0)
        self.percent.setEnabled(now.tolerance is not None)
        self.folder = QLineEdit(now.folder)
        self.folder.setPlaceholderText(str(Preferences().captures))
        self.folder.setAccessibleName("Folder for captures")
        self.browse = self._button("choose …", "Choose the folder for captures", self._browse)
        for words, parts in (
            ("&theme", (self.theme,)),
            ("si&ze of text", (self.text_size,)),
            ("&sounds", (self.sounds, self.try_sound)),
            ("&voice", (self.voice, self.try_voice)),
            ("t&olerance of new sessions ±", (self.bpm, self.percent)),
            ("&captures", (self.folder, self.browse)),
        ):
            row = QHBoxLayout()
            for part in parts:
                row.addWidget(part)
            label = Label(words)
            label.setBuddy(parts[0])
            form.addRow(label, row)
        self.told = Label()
        self.told.setWordWrap(True)
        self.told.setAccessibleName("Result of a test")
        close = QPushButton("Close")
        close.setAccessibleName("Close the settings")
        close.clicked.connect(self.accept)
        column = QVBoxLayout(self)
        column.addLayout(form)
        column.addWidget(self.told)
        column.addWidget(close)
        for choice in (self.theme, self.text_size, self.sounds):
            choice.activated.connect(self._changed)
        self.voice.toggled.connect(self._changed)
        self.folder.editingFinished.connect(self._changed)
        for number in (self.bpm, self.percent):
            number.valueChanged.connect(self._changed)
        self._timer = QTimer(self)
        self._timer.setInterval(_TEND_MS)
        self._timer.timeout.connect(self._tend)

    @staticmethod
    def _choice(name: str, words: list[str]) -> QComboBox:
        choice = QComboBox()
        choice.addItems(words)
        choice.setAccessibleName(name)
        name_parts(choice)
        return choice

    @staticmethod
    def _button(words: str, name: str, act: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAccessibleName(name)
        button.setAutoDefault(False)
        button.clicked.connect(act)
        return button

    def _changed(self) -> None:
        bpm = self.bpm.value()
        self.percent.setEnabled(bpm > 0)
        self.now = replace(
            self.now,
            theme=_THEMES[self.theme.currentIndex()][0],
            size=self.text_size.currentIndex(),
            sounds=SOUNDS[self.sounds.currentIndex()],
            voice=self.voice.isChecked(),
            folder=self.folder.text().strip(),
            tolerance=(bpm, self.percent.value()) if bpm > 0 else None,
        )
        self.chosen.emit(self.now)

    def _browse(self) -> None:
        folder = QFileDialog.getExistingDirectory(
            self, "Folder for captures", str(self.now.captures)
        )
        if folder:
            self.folder.setText(folder)
            self._changed()

    def _try_sound(self) -> None:
        self._player = self._player or Player()
        self._player.play(Sound.FALL)
        self._hear()

    def _try_voice(self) -> None:
        self._voice = self._voice or Voice(_NOBODY)
        self._voice.say("strap: wet it")
        self._hear()

    def _hear(self) -> None:
        self.told.setText("")
        self._timer.start()
        self._tend()

    def _tend(self) -> None:
        for channel in (self._player, self._voice):
            if channel is not None:
                channel.tend()
                if trouble := channel.trouble():
                    self.told.setText(trouble)

    def done(self, result: int) -> None:
        """Nothing is heard once it is closed."""
        self._timer.stop()
        for channel in (self._player, self._voice):
            if channel is not None:
                channel.close()
        super().done(result)


def _tolerance_field(unit: str) -> QDoubleSpinBox:
    number = QDoubleSpinBox()
    number.setRange(0, MOST_TOLERANCE)
    number.setDecimals(1)
    number.setSuffix(unit)
    name_parts(number)
    return number
