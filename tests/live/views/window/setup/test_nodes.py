"""The set-up page lists what other computers listen to, once it is asked to."""

from __future__ import annotations

import os

from PySide6.QtCore import Qt

from tests.standins.setup_rows import ROWS, labels, own_config_fixture, tick  # noqa: F401
from tests.standins.setups import setup_page

SORREL = {
    "label": "Sorrel", "role": "test", "placement": "left wrist", "source": "node", "node": "attic",
    "address": "C0:00:00:00:00:02",
}  # fmt: skip
BRACKEN = {
    "label": "Bracken", "role": "reference", "source": "node", "node": "attic", "kind": "arm",
}  # fmt: skip


def test_nodes_are_asked_for_at_the_broker_of_the_page(tmp_path):
    """The button shows the broker's fields, and tells the listening process where; a change too."""
    with setup_page(tmp_path, *ROWS) as (window, child):
        page = window.plan_page
        assert not page.form.broker.isVisible()
        assert not any("broker" in told for told in child.told)
        page.nodes.click()
        window.frame()
        assert page.form.broker.isVisible()
        assert child.told[-1] == {"broker": {"host": "127.0.0.1", "port": 1883}}
        page.form.host.setText("bench")
        page.form.edited.emit()
        window.frame()
        assert child.told[-1] == {"broker": {"host": "bench", "port": 1883}}


def test_a_sensor_of_a_node_goes_into_the_plan_with_its_node(tmp_path):
    """It has a row of its own beside that of the same sensor heard here, and is planned so."""
    with setup_page(tmp_path, *ROWS) as (window, child):
        page = window.plan_page
        page.nodes.click()
        child.lines.append({"node_sensors": [SORREL, BRACKEN, {"label": 5}], "node_problem": ""})
        window.frame()
        assert page.list.rowCount() == 5
        rows = [
            page.list.item(n, 0).data(Qt.ItemDataRole.AccessibleTextRole)
            for n in range(page.list.rowCount())
        ]
        assert sum("at node attic" in spoken for spoken in rows) == 2
        tick(window, "Yarrow")
        page.list.ticked.emit("attic/C0:00:00:00:00:02", True)
        page.list.ticked.emit("attic/Bracken", True)
        assert labels(window) == ["Yarrow", "Sorrel", "Bracken"]
        _, sorrel, bracken = page.builder.sensors
        assert (sorrel.source, sorrel.node, sorrel.address) == ("node", "attic", SORREL["address"])
        assert (bracken.role, bracken.kind, bracken.address) == ("test", "arm", "")
        spoken = [
            page.list.item(n, 0).data(Qt.ItemDataRole.AccessibleTextRole)
            for n in range(page.list.rowCount())
        ]
        assert sum(", worn" in text for text in spoken) == 3
        assert child.told[-1] != {"ask": [SORREL["address"]]}
        if folder := os.environ.get("SIDEBEAT_LOOK"):
            window.grab().save(f"{folder}/nodes.png")
        page.list.ticked.emit("attic/Bracken", False)
        assert labels(window) == ["Yarrow", "Sorrel"]


def test_a_broker_that_cannot_be_had_is_said(tmp_path):
    """Beside what is wrong with Bluetooth, and until it is over."""
    with setup_page(tmp_path, *ROWS) as (window, child):
        page = window.plan_page
        child.lines.append({"problem": "Bluetooth is off"})
        child.lines.append({"node_sensors": [], "node_problem": "The broker is away."})
        window.frame()
        assert page.told.text() == "Bluetooth is off.  The broker is away."
        child.lines.append({"node_sensors": [SORREL], "node_problem": ""})
        window.frame()
        assert page.told.text() == "Bluetooth is off."
