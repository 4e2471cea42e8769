"""What can be done with the thing under the pointer: with a moment, a sensor, a warning."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Protocol, TypeAlias

from PySide6.QtCore import QObject, QPoint, Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import QApplication, QMenu, QWidget

from live.views.window.live.warnings_list import WARNING, heading
from live.views.window.live.workbench import Workbench
from live.views.window.parts.keys import Action, every_key
from live.views.window.parts.number_format import clock

if TYPE_CHECKING:
    from analysis.board.snapshot import SensorWarning
    from replay.plan import Plan

_Entry: TypeAlias = "Action | None"
"""``None`` draws a line between entries."""

_TAKE_AWAY = (Action.COPY, Action.SAVE_PICTURE, Action.SAVE_CSV, Action.REPORT)


class Hands(Protocol):
    """What a menu asks of its window."""

    plan: Plan
    hidden: frozenset[int]

    def do(self, action: Action) -> None:
        """Carry out an action."""

    def is_able(self, action: Action) -> bool:
        """Whether an action can be done now."""

    def select(self, number: int) -> None:
        """Show this test sensor in the agreement plane."""

    def hide_sensor(self, number: int, *, hide: bool) -> None:
        """Leave a test sensor out of the time panels, or take it in again."""


class ContextMenus(QObject):
    """Opens a menu over time panels, cards and warnings, by the right button or the menu key.

    ``go_to``: brings a second of the session into sight.
    """

    def __init__(
        self, window: QWidget, hands: Hands, bench: Workbench, go_to: Callable[[float], None]
    ) -> None:
        super().__init__(window)
        self._window = window
        self._hands = hands
        self._bench = bench
        self._go_to = go_to
        self._keys = {key.action: key for key in every_key()}
        self.open: QMenu | None = None
        parts: list[QWidget] = [bench.chart, bench.warnings, bench.plane, *bench.cards.cards]
        for part in parts:
            part.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        bench.chart.customContextMenuRequested.connect(self._over_chart)
        bench.warnings.customContextMenuRequested.connect(self._over_warnings)
        bench.plane.customContextMenuRequested.connect(
            lambda spot: self._pop(self.of_plane(), bench.plane, spot)
        )
        for number, card in enumerate(bench.cards.cards, 1):
            card.customContextMenuRequested.connect(partial(self._over_card, number, card))

    # The menus

    def of_moment(self, second: float) -> QMenu:
        """Of the time panels at a second of the session."""
        menu = self._menu(f"At {clock(max(second, 0))}")
        self._add(menu, f"Look at {clock(max(second, 0))}", lambda: self._go_to(max(second, 0.0)))
        self._offer(menu, (Action.MARK_NOW, Action.NOW, None, *_TAKE_AWAY))
        menu.addSeparator()
        for number in self._hands.plan.tests:
            self._offer_hiding(menu, number)
        return menu

    def of_sensor(self, number: int) -> QMenu:
        """Of a sensor's card."""
        plan = self._hands.plan
        menu = self._menu(plan.sensor(number).label)
        if number in plan.tests:
            self._add(menu, "Show in the agreement plane", lambda: self._hands.select(number))
            self._offer_hiding(menu, number)
            menu.addSeparator()
        self._offer(menu, (Action.CONNECT, Action.COPY))
        return menu

    def of_plane(self) -> QMenu:
        """Of the agreement plane."""
        menu = self._menu("Agreement plane")
        self._offer(menu, (Action.TURN_PLANE, Action.NEXT_SENSOR, None, Action.COPY))
        return menu

    def of_warning(self, warning: SensorWarning | None) -> QMenu:
        """Of a warning in the list, or of the list itself."""
        menu = self._menu("Warnings" if warning is None else "Warning")
        if warning is not None:
            since = float(warning.since_s)
            self._add(menu, f"Look at {clock(since)}", lambda: self._go_to(since))
            words = heading(self._hands.plan, warning)
            told = " ".join(filter(None, (f"{words}.", warning.cause, warning.advice)))
            self._add(menu, "Copy its words", lambda: QApplication.clipboard().setText(told))
            if warning.end_s is None:
                self._offer(menu, (Action.ACKNOWLEDGE,))
        self._offer(menu, (Action.ACKNOWLEDGE_ALL, None, *_TAKE_AWAY))
        return menu

    # How they are made and opened

    def _menu(self, name: str) -> QMenu:
        menu = QMenu(self._window)
        menu.setAccessibleName(name)
        return menu

    @staticmethod
    def _add(menu: QMenu, words: str, act: Callable[[], None]) -> None:
        menu.addAction(words).triggered.connect(lambda _=False: act())

    def _offer(self, menu: QMenu, entries: Sequence[_Entry]) -> None:
        for entry in entries:
            if entry is None:
                menu.addSeparator()
                continue
            if not self._hands.is_able(entry):
                continue
            key = self._keys[entry]
            native = QKeySequence.SequenceFormat.NativeText
            hint = QKeySequence(key.keys[0]).toString(native) if key.keys else ""
            act = partial(self._hands.do, entry)
            self._add(menu, f"{key.words}\t{hint}" if hint else key.words, act)

    def _offer_hiding(self, menu: QMenu, number: int) -> None:
        label = self._hands.plan.sensor(number).label
        entry = menu.addAction(f"Draw {label} in the time panels")
        entry.setCheckable(True)
        entry.setChecked(number not in self._hands.hidden)
        entry.triggered.connect(lambda checked: self._hands.hide_sensor(number, hide=not checked))

    def _over_chart(self, spot: QPoint) -> None:
        chart = self._bench.chart
        place = chart.bottom.vb.mapSceneToView(chart.mapToScene(spot))
        self._pop(self.of_moment(float(place.x())), chart, spot)

    def _over_card(self, number: int, card: QWidget, spot: QPoint) -> None:
        self._pop(self.of_sensor(number), card, spot)

    def _over_warnings(self, spot: QPoint) -> None:
        warnings = self._bench.warnings
        index = warnings.indexAt(spot)
        self._pop(self.of_warning(index.data(WARNING) if index.isValid() else None), warnings, spot)

    def _pop(self, menu: QMenu, over: QWidget, spot: QPoint) -> None:
        if self.open is not None:
            self.open.deleteLater()
        self.open = menu
        menu.popup(over.mapToGlobal(spot))
