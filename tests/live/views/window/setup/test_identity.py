"""Which sign a sensor has, who stands first, what is asked about, and where clicks and keys go."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QAccessible
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QPushButton

from live.setup.known_sensors import (
    KnownSensor,
    KnownSensors,
    known_sensors_path,
    load_known_sensors,
    save_known_sensors,
)
from live.views.window.parts.theme import planned_styles
from live.views.window.setup.body_map import SPOTS
from replay.plan import Plan, PlannedSensor, format_plan, parse_plan
from replay.signs import SIGNS, signs_of
from tests.standins.setup_rows import ROWS, complete, labels, own_config_fixture, tick  # noqa: F401
from tests.standins.setups import ADDRESSES, setup_page
from tests.standins.windows import press


def looks(window):
    sensors = window.plan_page.builder.sensors
    return {
        s.label: None if style is None else (style.shape, style.index)
        for s, style in zip(sensors, planned_styles(sensors), strict=True)
    }


def remember(*sensors):
    save_known_sensors(known_sensors_path(), KnownSensors(sensors))


def known(name, sign, role="test"):
    return KnownSensor(ADDRESSES[name], name, name, role, "left wrist", sign)


def test_a_sensor_keeps_its_sign_whatever_the_order_of_ticking(tmp_path):
    """Shape and colour are those that it had in the session before."""
    remember(known("Tansy", 3), known("Sorrel", 5))
    seen = []
    for order in (("Sorrel", "Tansy", "Yarrow"), ("Yarrow", "Tansy", "Sorrel")):
        with setup_page(tmp_path, *ROWS) as (window, _):
            for name in order:
                tick(window, name)
            seen.append(looks(window))
            assert {s.label: s.sign for s in window.plan_page.builder.sensors}["Tansy"] == 3
    assert seen[0]["Sorrel"] == seen[1]["Sorrel"]
    assert seen[0]["Tansy"] == seen[1]["Tansy"]


def test_a_new_sensor_takes_no_sign_of_a_remembered_one(tmp_path):
    """A stranger does not come in the colours of a sensor that stayed at home."""
    remember(known("Tansy", 1))
    with setup_page(tmp_path, *ROWS) as (window, _):
        tick(window, "Sorrel")
        assert window.plan_page.builder.sensors[0].sign == 2


def test_the_sign_goes_with_plan_and_memory():
    """A plan file and the remembered sensors give back the sign that they were given."""
    reference = PlannedSensor(label="Yarrow", role="reference", name="Yarrow")
    sensor = PlannedSensor(label="Sorrel", role="test", address="A", sign=9)
    plan = Plan(wearer="W1", activity="row", sensors=(reference, sensor))
    assert parse_plan(format_plan(plan)) == plan
    kept = KnownSensors().with_session(plan.sensors, {"A": "S"}, KnownSensors().last)
    save_known_sensors(known_sensors_path(), kept)
    assert load_known_sensors(known_sensors_path()).recall("A", "S").sign == 9


@pytest.mark.parametrize("signs", [(0, 0, 0), (2, 0, 0), (0, 0, 1), (4, 4, 0)])
def test_no_two_sensors_of_a_plan_share_a_sign(signs):
    """Who has a sign keeps it, the others fill up; of two with the same the first keeps it."""
    sensors = [
        PlannedSensor(label=str(n), role="test", name=str(n), sign=sign)
        for n, sign in enumerate(signs)
    ]
    given = signs_of(sensors)
    assert len(set(given)) == 3
    assert all(1 <= sign <= SIGNS for sign in given)
    assert given[0] == (signs[0] or given[0])


def test_the_reference_stands_first(tmp_path):
    """Ticked last or made it later, the reference is the first card, and keeps the keyboard."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        tick(window, "Sorrel")
        tick(window, "Tansy")
        editor = window.plan_page.selected.editors[1]
        editor.role.setFocus()
        editor.role.setCurrentIndex(0)
        editor.role.activated.emit(0)
        QApplication.processEvents()
        assert labels(window) == ["Tansy", "Sorrel"]
        assert window.plan_page.selected.editors[0].role.hasFocus()
        assert window.plan_page.chosen == 0


def test_an_arm_sensor_as_reference_is_asked_about(tmp_path):
    """It may be meant, so it is a question, and the button says yes to it."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        assert window.footer.todo.text() == "The plan is complete."
        window.plan_page.choose(0)
        window.plan_page.body_map.buttons["left upper arm"].click()
        assert "Yarrow is worn on the left upper arm and is the reference: is that so?" in (
            window.footer.todo.text()
        )
        assert window.footer.forward.text().startswith("Yes:")
        assert window.footer.forward.isEnabled()
        assert "complete" not in window.footer.todo.text()


def test_many_sensors_on_one_spot_are_asked_about(tmp_path):
    """Two find room on a wrist; a third there is rather a slip."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        for place in (0, 1, 2):
            window.plan_page.choose(place)
            window.plan_page.body_map.buttons["left wrist"].click()
        assert "3 sensors on one spot (left wrist)" in window.footer.todo.text()


def test_nobody_in_reach_is_said_with_what_to_do(tmp_path):
    """While nobody is heard the page says that it listens, and what wakes a sensor."""
    with setup_page(tmp_path) as (window, child):
        listening = window.plan_page.listening
        assert "nobody is heard yet" in listening.heard.text()
        assert listening.todo.isVisible()
        before = listening.sign.step
        window.frame()
        assert listening.sign.step > before
        child.lines.append({"sensors": list(ROWS)})
        window.frame()
        assert listening.heard.text() == "listening · 3 in reach"
        assert not listening.todo.isVisible()
        child.lines.append({"problem": "Bluetooth is off"})
        window.frame()
        assert listening.heard.text() == "not listening"
        assert not listening.sign.listens


def test_a_click_on_the_body_places_where_it_shows(tmp_path):
    """Wherever on the body one clicks, the nearest place is chosen; beside it, none."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        tick(window, "Sorrel")
        body_map = window.plan_page.body_map
        chosen = []
        body_map.chosen.connect(chosen.append)
        for place, spot in SPOTS.items():
            at = body_map.point_of(spot)
            child = body_map.childAt(at.toPoint())
            QTest.mouseClick(
                child or body_map,
                Qt.MouseButton.LeftButton,
                pos=(child.mapFrom(body_map, at.toPoint()) if child else at.toPoint()),
            )
            assert chosen[-1] == place
        count = len(chosen)
        # On the skin between upper arm and forearm, nearer to the forearm.
        between = body_map.point_of(QPointF(-33, 77)).toPoint()
        assert body_map.place_at(QPointF(between)) == "right forearm"
        QTest.mouseClick(body_map, Qt.MouseButton.LeftButton, pos=between)
        assert chosen[count:] == ["right forearm"]
        QTest.mouseClick(body_map, Qt.MouseButton.LeftButton, pos=QPoint(2, 2))
        assert len(chosen) == count + 1


def test_the_square_about_a_ring_is_not_the_ring(tmp_path):
    """The corners of a place's button leave the click to what is shown there."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        button = window.plan_page.body_map.buttons["chest"]
        assert button.hitButton(button.rect().center())
        assert not button.hitButton(QPoint(1, 1))


def test_after_a_swap_text_can_still_be_typed(tmp_path):
    """The advice goes with its button; the list has the keyboard then, and fields take text."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        page = window.plan_page
        page.know_past([page.builder.plan()] * 3)
        button = page.advice.findChild(QPushButton)
        button.setFocus()
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        QApplication.processEvents()
        assert not isinstance(QApplication.focusWidget(), QLineEdit)
        assert page.list.hasFocus()
        before = page.selected.editors[1].label.text()
        press(page.list, "X")
        assert page.selected.editors[1].label.text() == before
        field = page.selected.editors[1].label
        QTest.mouseClick(field, Qt.MouseButton.LeftButton)
        field.selectAll()
        QTest.keyClicks(QApplication.focusWidget(), "Bracken")
        assert page.builder.sensors[1].label == "Bracken"


def test_the_listening_sign_has_a_name(tmp_path):
    """A reader of screens is told of it too."""
    with setup_page(tmp_path) as (window, _):
        sign = window.plan_page.listening.sign
        interface = QAccessible.queryAccessibleInterface(sign)
        assert interface.text(QAccessible.Text.Name) == "Listening"
