"""The set-up page by keyboard and mouse: ticking, placing, roles, swaps, files, checks."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
)

from live.setup.checks import State
from live.setup.known_sensors import known_sensors_path, load_known_sensors
from live.setup.places import PLACES
from live.views.window.setup.body_map import SPOTS, body
from live.views.window.setup.keys import Step
from replay.broker import Broker
from replay.plan import Plan, PlannedSensor, load_plan
from tests.standins.setup_rows import ROWS, complete, labels, own_config_fixture, tick  # noqa: F401
from tests.standins.setups import ADDRESSES, PlayedRehearsal, practice_plan, row, setup_page
from tests.standins.windows import press


def test_sensors_are_listed_with_signal_and_battery(tmp_path):
    """Each sensor in reach has its row, and the row speaks for itself."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        discovered = window.plan_page.list
        assert discovered.rowCount() == 3
        assert [discovered.item(2, n).text() for n in range(3)] == [
            "Yarrow\nheart rate", "strong\n−60 dBm", "87 %",
        ]  # fmt: skip
        spoken = discovered.item(2, 0).data(Qt.ItemDataRole.AccessibleTextRole)
        assert spoken == "Yarrow, heart rate, strong, −60 dBm, 87 %, not worn"


def test_scrolling_over_a_card_changes_nothing_and_entering_it_chooses_it(tmp_path):
    """The wheel over a role or a placement leaves both as they are; a field that takes the keyboard
    makes its card the one that the body map places.
    """
    with setup_page(tmp_path, *ROWS) as (window, _):
        tick(window, "Yarrow")
        tick(window, "Sorrel")
        cards, chosen = window.plan_page.selected, []
        cards.picked.connect(chosen.append)
        first, second = cards.editors
        for box in (second.role, second.placement):
            before, middle = box.currentText(), QPointF(box.rect().center())
            for turned in (120, -120):
                wheel = QWheelEvent(
                    middle, box.mapToGlobal(middle), QPoint(), QPoint(0, turned),
                    Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier,
                    Qt.ScrollPhase.NoScrollPhase, False,
                )  # fmt: skip
                QApplication.sendEvent(box, wheel)
                assert box.currentText() == before
        assert chosen == []
        second.label.setFocus()
        first.role.setFocus()
        assert chosen == [1, 0]


def test_signals_are_renewed_and_rows_stay(tmp_path):
    """A new line of the listening process renews a row in its place."""
    with setup_page(tmp_path, *ROWS) as (window, child):
        child.lines.append({"sensors": [row("Sorrel", signal_dbm=-90, battery_percent=20)]})
        window.frame()
        discovered = window.plan_page.list
        assert [discovered.item(0, n).text() for n in (1, 2)] == ["weak\n−90 dBm", "20 %"]


def test_ticking_and_unticking_by_keyboard(tmp_path):
    """Space puts a sensor into the plan and takes it out again; a click does too."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        tick(window, "Yarrow")
        tick(window, "Sorrel")
        assert labels(window) == ["Yarrow", "Sorrel"]
        assert window.plan_page.builder.sensors[0].role == "reference"
        tick(window, "Yarrow")
        assert labels(window) == ["Sorrel"]
        discovered = window.plan_page.list
        box = discovered.visualItemRect(discovered.item(1, 0))
        QTest.mouseClick(
            discovered.viewport(), Qt.MouseButton.LeftButton, pos=box.topLeft() + QPoint(12, 12)
        )
        assert labels(window) == ["Sorrel", "Tansy"]


def test_the_page_leads_to_a_plan(tmp_path):
    """Filled in by keyboard and body map, the plan is the plan that was meant."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        assert not window.footer.forward.isEnabled()
        complete(window)
        assert window.footer.todo.text() == "The plan is complete."
        assert window.footer.forward.isEnabled()
        plan = window.plan_page.builder.plan()
        assert (plan.wearer, plan.activity) == ("W1", "kettlebell sets")
        assert [(s.label, s.role, s.placement, s.address) for s in plan.sensors] == [
            ("Yarrow", "reference", "chest", ADDRESSES["Yarrow"]),
            ("Sorrel", "test", "left wrist", ADDRESSES["Sorrel"]),
            ("Tansy", "test", "right wrist", ADDRESSES["Tansy"]),
        ]


def test_what_is_missing_is_said_beside_the_button(tmp_path):
    """The first thing that is missing stands below, with how many more there are."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        assert window.footer.todo.text() == "Tick the sensors that are worn.  (2 more)"
        window.do(Step.FORWARD)
        assert window.plan_page.isVisible()


def test_label_role_and_placement_can_be_typed(tmp_path):
    """The fields of a card change its sensor; a new reference turns the old one into a test."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        card = window.plan_page.selected.editors[1]
        card.label.selectAll()
        QTest.keyClicks(card.label, "Bracken")
        card.placement.lineEdit().selectAll()
        QTest.keyClicks(card.placement.lineEdit(), "behind the knee")
        card.role.setFocus()
        card.role.setCurrentIndex(0)
        card.role.activated.emit(0)
        first, second, _ = window.plan_page.builder.sensors
        assert (first.label, first.placement) == ("Bracken", "behind the knee")
        assert (first.role, second.role) == ("reference", "test")
        assert window.plan_page.selected.editors[1].role.currentData() == "test"


def test_removing_a_card_unticks_its_row(tmp_path):
    """The list and the cards tell the same."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        window.plan_page.selected.editors[1].remove.click()
        assert labels(window) == ["Yarrow", "Tansy"]
        assert window.plan_page.list.item(0, 0).checkState() == Qt.CheckState.Unchecked


def test_every_place_has_a_button_on_the_body():
    """Places lie on the body, none on another, the wearer's left on the picture's right."""
    outline = body()
    assert set(SPOTS) == set(PLACES)
    for place, spot in SPOTS.items():
        near = outline.contains(spot) or "ear" in place
        assert near, place
        if place.startswith("left"):
            assert spot.x() > 0
    spots = list(SPOTS.values())
    for n, one in enumerate(spots):
        for other in spots[n + 1 :]:
            assert (one - other).manhattanLength() > 14


def test_the_sketch_is_walked_with_arrow_keys(tmp_path):
    """Arrow keys go from place to place, Enter wears the sensor there; all places are reached."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        tick(window, "Sorrel")
        window.do(Step.BODY_MAP)
        body_map = window.plan_page.body_map
        reached = set()
        todo = ["chest"]
        while todo:
            place = todo.pop()
            if place in reached:
                continue
            reached.add(place)
            for key in ("Up", "Down", "Left", "Right"):
                body_map.buttons[place].setFocus()
                press(body_map.buttons[place], key)
                todo += [p for p, button in body_map.buttons.items() if button.hasFocus()]
        assert reached == set(PLACES)
        body_map.buttons["left ear"].setFocus()
        press(body_map.buttons["left ear"], "Return")
        assert window.plan_page.builder.sensors[0].placement == "left ear"
        assert body_map.buttons["left ear"].accessibleName() == "left ear: Sorrel"
        assert body_map.buttons["left ear"].isChecked()


def test_the_card_that_is_entered_is_the_one_that_is_placed(tmp_path):
    """Going into a card's field chooses its sensor for the body_map."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        window.plan_page.selected.editors[0].label.setFocus()
        QApplication.processEvents()
        assert window.plan_page.chosen == 0
        assert "Yarrow" in window.plan_page.whose.text()


def test_a_swap_is_one_press(tmp_path):
    """What past sessions lack is suggested, and carried out by its button."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        page = window.plan_page
        assert not page.advice.isVisible()
        page.know_past([page.builder.plan()] * 3)
        assert page.advice.isVisible()
        button = next(b for b in page.advice.findChildren(QAbstractButton))
        assert "Swap it with Tansy" in button.accessibleName()
        button.click()
        assert [s.placement for s in page.builder.sensors] == ["chest", "right wrist", "left wrist"]
        assert not page.advice.isVisible()


def test_a_topic_and_a_simulated_sensor_are_added(tmp_path):
    """The two dialogs add what cannot be heard; the broker's fields come with the topic."""
    with setup_page(tmp_path) as (window, _):
        page = window.plan_page
        assert not page.form.broker.isVisible()
        page.topic.click()
        page.dialog.add.click()
        assert page.dialog.told.text() == "Give the topic."
        QTest.keyClicks(page.dialog.topic, "gym/#")
        page.dialog.add.click()
        assert "wildcards" in page.dialog.told.text()
        page.dialog.topic.setText("gym/tansy/hr")
        page.dialog.label.setText("Tansy")
        page.dialog.add.click()
        assert page.form.broker.isVisible()
        page.form.host.setText("10.0.0.5")
        page.form.edited.emit()
        page.simulated.click()
        page.dialog.add.click()
        strap, tansy = page.builder.sensors  # the reference stands first
        assert (tansy.source, tansy.topic, tansy.label) == ("mqtt", "gym/tansy/hr", "Tansy")
        assert (strap.source, strap.kind, strap.role) == ("simulated", "strap", "reference")
        assert page.builder.broker.host == "10.0.0.5"


def test_what_the_form_has_no_field_for_stays_with_the_broker(tmp_path):
    """Certificates and the prefix of the published board; without TLS its files are of no use."""
    kept = Broker(
        host="broker.example", port=8883, tls=True, ca_file="ca.pem", cert_file="me.pem",
        publish="gym/board",
    )  # fmt: skip
    with setup_page(tmp_path) as (window, _):
        form = window.plan_page.form
        form.show_facts(replace(form.facts(), broker=kept))
        assert form.facts().broker == kept
        form.tls.setChecked(False)
        assert form.facts().broker == Broker(host="broker.example", port=8883, publish="gym/board")


def test_details_are_in_the_plan_and_not_remembered(tmp_path):
    """Reporting details go into the plan; those of another plan's names are kept."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        page = window.plan_page
        other = replace(page.builder.plan(), details={"altitude": "900 m", "height": "170"})
        page.show_plan(other)
        assert page.form.details["height"].text() == "170"
        page.form.unfold.setChecked(True)
        QTest.keyClicks(page.form.details["temperature"], "21")
        assert page.builder.plan().details == {
            "altitude": "900 m",
            "height": "170",
            "temperature": "21",
        }
        window.remember(page.builder.plan())
        text = known_sensors_path().read_text()
        assert "170" not in text
        assert "900" not in text


def test_the_next_session_remembers_the_sensors(tmp_path):
    """Label, role, placement and the session's facts come back; a tick brings them."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        window.plan_page.change(1, "label", "Bracken")
        window.remember(window.plan_page.builder.plan())
    assert load_known_sensors(known_sensors_path()).last.wearer == "W1"
    with setup_page(tmp_path, row("Sorrel")) as (window, _):
        assert window.plan_page.form.wearer.text() == "W1"
        assert window.plan_page.form.activity.currentText() == "kettlebell sets"
        assert window.plan_page.list.rowCount() == 3
        tick(window, "Bracken (Sorrel)")
        (sensor,) = window.plan_page.builder.sensors
        assert (sensor.label, sensor.role, sensor.placement) == ("Bracken", "test", "left wrist")


def test_a_memory_that_is_not_understood_is_said_and_kept(tmp_path):
    """The page opens all the same, says it, and does not write over the file."""
    path = known_sensors_path()
    path.parent.mkdir(parents=True)
    path.write_text("version = 9\n")
    with setup_page(tmp_path, *ROWS) as (window, _):
        assert "version 9" in window.note.text()
        complete(window)
        window.remember(window.plan_page.builder.plan())
    assert path.read_text() == "version = 9\n"


def test_a_plan_is_saved_and_opened(tmp_path):
    """What is saved is a plan file; opened, it fills the page; a wrong one is said."""
    with setup_page(tmp_path, *ROWS) as (window, _):
        complete(window)
        window.save_plan(tmp_path / "plan.toml")
        plan = load_plan(tmp_path / "plan.toml")
        assert plan == window.plan_page.builder.plan()
        window.save_plan(tmp_path / "no" / "plan.toml")
        assert "could not be written" in window.note.text()
    with setup_page(tmp_path) as (window, _):
        window.open_plan(tmp_path / "none.toml")
        assert "cannot be read" in window.note.text()
        window.open_plan(tmp_path / "plan.toml")
        assert not window.note.isVisible()
        assert window.plan_page.builder.plan() == plan
        assert window.plan_page.form.wearer.text() == "W1"


def test_checks_turn_from_waiting_to_ready(tmp_path):
    """The list shows every check with its word; start is held out plainly once all are ready."""
    with setup_page(tmp_path, *ROWS, minutes=3.0, rehearse=PlayedRehearsal) as (window, _):
        complete(window)
        press(window, "Ctrl+Return")
        window.frame()
        window.frame()
        QApplication.processEvents()
        assert window.rehearsal.minutes == 3.0
        page = window.check_page
        assert [row.accessibleName() for row in page.rows] == [
            "Yarrow (reference): contact: ready. Well.",
            "Sorrel: heard: problem. Not heard.",
        ]
        assert window.footer.forward.text() == "Start recording all the same"
        assert window.footer.todo.text() == "Not ready: Sorrel: heard."
        assert [row.retry.isVisible() for row in page.rows] == [False, True]
        page.rows[1].retry.click()
        assert window.rehearsal.again == [2]
        window.rehearsal.checks[1] = replace(window.rehearsal.checks[1], state=State.READY)
        window.frame()
        assert (window.footer.forward.text(), window.footer.todo.text()) == (
            "Start recording",
            "All is ready.",
        )
        press(window, "Ctrl+Return")
        assert window.rehearsal.is_beginning
        window.frame()
        assert not window.footer.forward.isEnabled()


def test_a_command_that_was_asked_for_is_in_the_plan(tmp_path):
    """A command for warnings from the command line takes the place of the plan's."""
    command = ("notify", "now")
    with setup_page(tmp_path, *ROWS, on_warning=command, rehearse=PlayedRehearsal) as (window, _):
        complete(window)
        window.do(Step.FORWARD)
        window.frame()
        assert window.rehearsal.plan.attention.command == command


def test_escape_goes_back_and_stops_the_rehearsal(tmp_path):
    """Back on the page the plan is as it was, and sensors are listened for again."""
    with setup_page(tmp_path, *ROWS, rehearse=PlayedRehearsal) as (window, child):
        complete(window)
        window.do(Step.FORWARD)
        window.frame()
        rehearsal = window.rehearsal
        assert child.gone
        press(window, "Escape")
        assert rehearsal.stopped
        assert labels(window) == ["Yarrow", "Sorrel", "Tansy"]
        assert window.is_listening
        assert child.gone


def test_bluetooth_that_is_off_is_said_on_the_page(tmp_path):
    """The sentence of the listening process stands above the list until it is over."""
    with setup_page(tmp_path) as (window, child):
        child.lines.append({"problem": "this computer has no Bluetooth adapter: plug one in"})
        window.frame()
        assert window.plan_page.told.isVisible()
        assert window.plan_page.told.text().startswith("This computer has no Bluetooth adapter")
        child.lines.append({"sensors": []})
        window.frame()
        assert not window.plan_page.told.isVisible()


def test_practice_says_that_nothing_is_saved(tmp_path):
    """Without a folder the page says so, and the start is one of practice."""
    with setup_page(None, rehearse=PlayedRehearsal) as (window, _):
        assert "nothing is saved" in window.plan_page.form.folder.text()
        window.plan_page.show_plan(practice_plan())
        window.do(Step.FORWARD)
        window.frame()
        assert window.rehearsal.out is None
        assert "Start practice" in window.footer.forward.text()
        assert window.check_page.who.text().startswith("INVENTED DATA")


def test_a_sensor_from_an_opened_plan_counts_as_worn(tmp_path):
    """A plan's sensors are ticked once they are heard, and shown by address until then."""
    plan = Plan(
        wearer="W1",
        activity="x",
        sensors=(
            PlannedSensor(
                label="A", role="reference", placement="chest", address=ADDRESSES["Yarrow"]
            ),
            PlannedSensor(label="B", role="test", placement="waist", address="C0:77"),
        ),
    )
    with setup_page(tmp_path, *ROWS) as (window, _):
        window.plan_page.show_plan(plan)
        assert window.plan_page.list.item(2, 0).checkState() == Qt.CheckState.Checked
        assert window.plan_page.selected.editors[1].facts.text() == "C0:77"
