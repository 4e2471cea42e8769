"""Three sensors in reach, and how a tester makes a plan of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtTest import QTest

from live.setup.known_sensors import CONFIG_FOLDER_VARIABLE
from tests.standins.setups import row
from tests.standins.windows import press

ROWS = (row("Yarrow", placement="chest", battery_percent=87), row("Sorrel"), row("Tansy"))


@pytest.fixture(name="own_config", autouse=True)
def own_config_fixture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(CONFIG_FOLDER_VARIABLE, str(tmp_path / "config"))


def tick(window, name: str) -> None:
    """As the keyboard does it: to the row, then Space."""
    discovered = window.plan_page.list
    names = [discovered.item(n, 0).text().splitlines()[0] for n in range(discovered.rowCount())]
    discovered.setFocus()
    discovered.setCurrentCell(names.index(name), 0)
    press(discovered, "Space")


def labels(window) -> list[str]:
    return [sensor.label for sensor in window.plan_page.builder.sensors]


def complete(window) -> None:
    for name in ("Yarrow", "Sorrel", "Tansy"):
        tick(window, name)
    for index, place in ((1, "left wrist"), (2, "right wrist")):
        window.plan_page.choose(index)
        window.plan_page.body_map.buttons[place].click()
    form = window.plan_page.form
    QTest.keyClicks(form.wearer, "W1")
    QTest.keyClicks(form.activity.lineEdit(), "kettlebell sets")
