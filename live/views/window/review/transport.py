"""The controls of the player: play and pause, steps, jumps, speed, and where it stands."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QToolButton, QWidget

from live.protocol.file_feed import FileFeed
from live.views.window.parts.dialogs import native
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.keys import Action, every_key
from live.views.window.parts.number_format import clock
from live.views.window.parts.plain_text import Label, tip

SPEEDS: Final[tuple[float | None, ...]] = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 40.0, 60.0, None)
"""Times life, from slowest to flat out."""

_BUTTONS: Final = (
    (Action.TO_START, "start"),
    (Action.STEP_BACK, "‹ step"),
    (Action.PAUSE, "play"),
    (Action.STEP_ON, "step ›"),
    (Action.SLOWER, "slower"),
    (Action.FASTER, "faster"),
)
_JUMPS: Final = (
    ("warning", Action.LAST_WARNING, Action.NEXT_WARNING),
    ("marker", Action.LAST_MARKER, Action.NEXT_MARKER),
    ("effort", Action.LAST_EFFORT, Action.NEXT_EFFORT),
    ("gap", Action.LAST_GAP, Action.NEXT_GAP),
)


def next_speed(speed: float | None, step: int) -> float | None:
    """The next faster (1) or slower (−1) of :data:`SPEEDS`; the ends stay."""
    if step > 0:
        if speed is None:
            return None
        return next((s for s in SPEEDS if s is None or s > speed), None)
    slower = [s for s in SPEEDS if s is not None and (speed is None or s < speed)]
    return slower[-1] if slower else SPEEDS[0]


def position_words(t_ns: int, duration_ns: int) -> str:
    """Where the player stands, to the millisecond, and how long the capture is."""
    milliseconds = t_ns // 1_000_000 % 1000
    return f"{clock(t_ns / 1e9)}.{milliseconds:03} of {clock(duration_ns / 1e9)}"


def speed_words(speed: float | None) -> str:
    """The speed as it is shown."""
    return "full speed" if speed is None else f"{speed:g} × life"


class Transport(QWidget):
    """The buttons, made from the list of keys."""

    def __init__(self, do: Callable[[Action], None]) -> None:
        super().__init__()
        self._words = {key.action: key for key in every_key()}
        self._do = do
        self.buttons: dict[Action, QToolButton] = {}
        flow = FlowLayout(self)
        flow.setContentsMargins(0, 0, 0, 0)
        for action, text in _BUTTONS:
            flow.addWidget(self._button(action, text))
        self.speed = Label()
        self.speed.setAccessibleName("Speed")
        flow.addWidget(self.speed)
        self.position = Label()
        self.position.setAccessibleName("Position")
        flow.addWidget(self.position)
        for name, back, on in _JUMPS:
            flow.addWidget(self._button(back, "‹"))
            label = Label(name)
            flow.addWidget(label)
            flow.addWidget(self._button(on, "›"))

    def _button(self, action: Action, text: str) -> QToolButton:
        key = self._words[action]
        button = QToolButton()
        button.setText(text)
        button.setToolTip(tip(f"{key.words} ({native(key.keys)})"))
        button.setAccessibleName(key.words)
        button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        button.clicked.connect(lambda _=False, action=action: self._do(action))
        self.buttons[action] = button
        return button

    def apply_theme(self) -> None:
        """Sizes that follow the text's: figures must not push the buttons about."""
        metrics = self.fontMetrics()
        self.position.setFixedWidth(metrics.horizontalAdvance("0:00:00.000 of 0:00:00") + 12)
        self.speed.setFixedWidth(metrics.horizontalAdvance("full speed") + 12)
        play = self.buttons[Action.PAUSE]
        play.setFixedWidth(metrics.horizontalAdvance("pause") + 24)
        self.updateGeometry()

    def show_position(self, t_ns: int, duration_ns: int) -> None:
        """The instant that is in the picture."""
        _set(self.position, position_words(t_ns, duration_ns))

    def show_pace(self, feed: FileFeed) -> None:
        """Bring speed and the play button up to date."""
        _set(self.speed, speed_words(feed.speed))
        play = "pause" if feed.playing else "play"
        button = self.buttons[Action.PAUSE]
        if button.text() != play:
            button.setText(play)


def _set(label: Label, text: str) -> None:
    if label.text() != text:
        label.setText(text)
        label.setAccessibleDescription(text)
