"""The list of sensors in reach, with a tick for those that are worn."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from PySide6.QtCore import QItemSelectionModel, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetricsF
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
)

from live.setup.discovered import DiscoveredSensor, DiscoveredSensors
from live.views.window.parts.accessibility import name_parts
from live.views.window.parts.plain_text import tip
from live.views.window.parts.theme import LIGHT, Theme
from live.views.window.setup.ticks import TickBoxes

_COLUMNS: Final = ("sensor", "signal", "battery")
_ROWS: Final = 6
_SHORT: Final = {
    "heart rate": "heart rate",
    "cycling speed and cadence": "cycling",
    "running speed and cadence": "running",
    "cycling power": "power",
}


class DiscoveredList(QTableWidget):
    """One row per sensor.  ``ticked``: its address, and whether it is to be worn."""

    ticked = Signal(str, bool)

    def __init__(self) -> None:
        super().__init__(0, len(_COLUMNS))
        self.theme = LIGHT
        self._addresses: list[str] = []
        self._items: list[list[QTableWidgetItem]] = []
        self.setHorizontalHeaderLabels(list(_COLUMNS))
        self.setAccessibleName("Sensors in reach; Space ticks the sensor of a row")
        name_parts(self)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.verticalHeader().hide()
        self.setShowGrid(False)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.boxes = TickBoxes()
        self.setItemDelegateForColumn(0, self.boxes)
        self.setWordWrap(False)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        self.itemChanged.connect(self._changed)

    def show_discovered(
        self, discovered: DiscoveredSensors, selected: Collection[str], now_s: float
    ) -> None:
        """Show who is in reach at ``now_s``; those in ``selected`` (addresses) are ticked."""
        sensors = discovered.sensors
        addresses = [sensor.address for sensor in sensors]
        self.blockSignals(True)
        try:
            if addresses != self._addresses:
                self._lay_out(addresses)
            for row, sensor in enumerate(sensors):
                self._fill(
                    row, sensor, _called(discovered, sensor), sensor.address in selected, now_s
                )
        finally:
            self.blockSignals(False)
        self.viewport().update()

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        self.theme = theme
        line = QFontMetricsF(self.font()).height()
        self.boxes.theme = theme
        self.verticalHeader().setDefaultSectionSize(round(2.5 * line))
        self._fit()

    def _fit(self) -> None:
        """At least as high as a handful of sensors; more are scrolled."""
        self.setMinimumHeight(self._height_of(min(max(len(self._addresses), 3), _ROWS)))
        self.updateGeometry()

    def _height_of(self, rows: int) -> int:
        head = self.horizontalHeader().sizeHint().height()
        return rows * self.verticalHeader().defaultSectionSize() + head + 4

    def sizeHint(self) -> QSize:
        """As high as those in reach, with a little room for the next one."""
        return QSize(super().sizeHint().width(), self._height_of(max(len(self._addresses) + 1, 3)))

    def _lay_out(self, addresses: list[str]) -> None:
        row = self.currentRow()
        current = self._addresses[row] if 0 <= row < len(self._addresses) else ""
        self._addresses = addresses
        self.setRowCount(len(addresses))
        self._fit()
        self._items = [[QTableWidgetItem() for _ in _COLUMNS] for _ in addresses]
        for row in range(len(addresses)):
            for column in range(len(_COLUMNS)):
                item = self._items[row][column]
                flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
                if column == 0:
                    flags |= Qt.ItemFlag.ItemIsUserCheckable
                item.setFlags(flags)
                self.setItem(row, column, item)
        row = addresses.index(current) if current in addresses else 0
        self.setCurrentCell(row, 0, QItemSelectionModel.SelectionFlag.NoUpdate)

    def _fill(
        self, row: int, sensor: DiscoveredSensor, called: str, selected: bool, now_s: float
    ) -> None:
        battery = "" if sensor.battery_percent is None else f"{sensor.battery_percent} %"
        words = [_SHORT.get(service, service) for service in sensor.services]
        measures = ", ".join(words) if len(words) < 3 else f"{words[0]} + {len(words) - 1} more"
        signal = sensor.signal_words(now_s).replace(", ", "\n")
        texts = (f"{called}\n{measures}" if measures else called, signal, battery)
        ink = self.theme.ink if sensor.is_near(now_s) else self.theme.faint
        facts = (sensor.address, ", ".join(sensor.services), sensor.firmware, sensor.note)
        told = tip("\n".join(filter(None, facts)))
        for column, text in enumerate(texts):
            item = self._items[row][column]
            if item.text() != text:
                item.setText(text)
            item.setForeground(QColor(ink))
            item.setToolTip(told)
        first = self._items[row][0]
        state = Qt.CheckState.Checked if selected else Qt.CheckState.Unchecked
        if first.checkState() != state or first.data(Qt.ItemDataRole.CheckStateRole) is None:
            first.setCheckState(state)
        spoken = ", ".join(filter(None, (*texts, "worn" if selected else "not worn")))
        spoken = spoken.replace("\n", ", ")
        first.setData(Qt.ItemDataRole.AccessibleTextRole, spoken)

    def _changed(self, item: QTableWidgetItem) -> None:
        if item.column() == 0:
            address = self._addresses[item.row()]
            self.ticked.emit(address, item.checkState() == Qt.CheckState.Checked)


def _called(discovered: DiscoveredSensors, sensor: DiscoveredSensor) -> str:
    """Its name, and the label it had before if that is another."""
    known = discovered.recall(sensor)
    name = sensor.name or "(no name)"
    if known is None:
        return name
    return f"{known.label} ({name})" if known.label != name else name
