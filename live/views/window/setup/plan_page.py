"""Who wears what: sensors in reach, those that are worn and where, and the session."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from live.setup.discovered import DiscoveredSensors, key
from live.setup.known_sensors import KnownSensors, LastSession
from live.setup.plan_builder import PlanBuilder, identity
from live.setup.study_advice import StudyReader
from live.setup.swaps import Swap, suggest_swaps
from live.views.window.parts.flow_row import FlowLayout
from live.views.window.parts.theme import Theme, planned_styles
from live.views.window.setup.adding import AddDialog, AddSimulated, AddTopic
from live.views.window.setup.body_map import BodyMap, PlacedSensor
from live.views.window.setup.discovered_list import DiscoveredList
from live.views.window.setup.listening import Listening
from live.views.window.setup.parts import Section, let_go_of, named_button, sentence
from live.views.window.setup.selected_sensors import SelectedSensors
from live.views.window.setup.session_form import SessionFacts, SessionForm
from live.views.window.setup.study_section import StudySection
from replay.broker import Broker
from replay.plan import Plan, PlannedSensor

if TYPE_CHECKING:
    from analysis.study.wearing_plan import Line

_THREE = 138
_TWO = 92
"""Widths in characters from which the page has three and two columns."""
_LARGEST = 1.6
"""How many times the usual size of text may grow,"""
_LINES = 54
"""and lines that three columns need at the usual one, with all that may stand in them."""


class PlanPage(QScrollArea):
    """Holds the plan in the making.  ``changed``: after each change of it."""

    changed = Signal()

    def __init__(
        self,
        known: KnownSensors,
        out: Path | None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self._clock = clock
        self.discovered = DiscoveredSensors(known)
        self.builder = PlanBuilder(
            wearer=known.last.wearer,
            activity=known.last.activity,
            tolerance_bpm=known.last.tolerance_bpm,
            tolerance_percent=known.last.tolerance_percent,
        )
        self.chosen = 0
        self.past: Sequence[Plan] = ()
        self.swaps: list[Swap] = []
        self.dialog: AddDialog | None = None
        self._reader: StudyReader | None = None
        self._asked: tuple[PlanBuilder, dict[str, str]] | None = None
        self._wants_nodes = False
        self._columns: list[QVBoxLayout] = []
        self._arranged = 0
        self._build(out)
        self._show_form()
        self.refresh()

    def _build(self, out: Path | None) -> None:
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Plan of the session")
        self.list = DiscoveredList()
        self.list.ticked.connect(self._tick)
        self.told = sentence(kind="alarm")
        self.topic = named_button("add a topic …", "Add a sensor that comes over MQTT")
        self.topic.clicked.connect(lambda: self._add(AddTopic(self)))
        self.simulated = named_button(
            "add a simulated sensor …", "Add a simulated sensor, for practice"
        )
        self.simulated.clicked.connect(lambda: self._add(AddSimulated(self)))
        more = QWidget()
        flow = FlowLayout(more, gap=6)
        self.nodes = named_button("list nodes …", "List sensors that other computers listen to")
        self.nodes.clicked.connect(self._list_nodes)
        flow.addWidget(self.nodes)
        flow.addWidget(self.topic)
        flow.addWidget(self.simulated)
        near = Section("In reach")
        near.add(self.told)
        self.listening = Listening()
        near.add(self.listening)
        near.add(self.list, 1)
        near.add(more)
        self.selected = SelectedSensors(self.change)
        self.selected.picked.connect(self.choose)
        self.selected.removed.connect(self._remove)
        self.nobody = sentence("Tick a sensor on the list of those in reach.")
        selected = Section("Worn today")
        selected.add(self.nobody)
        selected.add(self.selected)
        selected.column.addStretch(1)
        self.study = StudySection()
        self.study.taken.connect(self._wear)
        self.advice = Section("Worth a swap")
        self._swaps = QVBoxLayout()
        self.advice.add(self._swaps)
        self.body_map = BodyMap()
        self.body_map.chosen.connect(self._place)
        self.placing = Section("Where it is worn")
        self.whose = sentence()
        self.placing.add(self.whose)
        self.placing.add(self.body_map, 1)
        self.form = SessionForm(out)
        self.form.edited.connect(self.take_form)
        self._sections = (near, selected, self.study, self.advice, self.placing, self.form)
        self._inside = QWidget()
        self._across = QHBoxLayout(self._inside)
        self._across.setContentsMargins(0, 0, 0, 0)
        self._across.setSpacing(8)
        self.setWidget(self._inside)
        self._lay_out(3)

    # What is heard

    def hear(self, lines: Sequence[dict[str, object]]) -> None:
        """Take lines of the listening process, and let time pass for what is shown."""
        for line in lines:
            self.discovered.hear(line, self._clock())
        self._show_discovered()
        facts = self._facts()
        for editor, text in zip(self.selected.editors, facts, strict=True):
            editor.show_facts(text)
        self._show_study()

    def _show_discovered(self) -> None:
        selected = {key(s) for s in self.builder.sensors if s.source in {"bluetooth", "node"}}
        self.list.show_discovered(self.discovered, selected, self._clock())
        problems = (self.discovered.problem, self.discovered.node_problem)
        told = "  ".join(
            f"{one[:1].upper()}{one[1:].removesuffix('.')}." for one in problems if one
        )
        self.told.setText(told)
        self.told.setVisible(bool(told))
        near = sum(one.is_near(self._clock()) for one in self.discovered.sensors)
        self.listening.show_state(near=near, problem=self.discovered.problem)

    def _facts(self) -> list[str]:
        return [self._facts_of(sensor) for sensor in self.builder.sensors]

    def _facts_of(self, sensor: PlannedSensor) -> str:
        if sensor.source == "mqtt":
            at = f", value at {sensor.message.value}" if sensor.message is not None else ""
            return f"MQTT topic {sensor.topic}{at}"
        if sensor.source == "simulated":
            return f"simulated ({sensor.kind}), invented data"
        found = self.discovered.get(key(sensor))
        if found is None:
            return sensor.address or sensor.name
        battery = "" if found.battery_percent is None else f"battery {found.battery_percent} %"
        return " · ".join(filter(None, (found.name, found.signal_words(self._clock()), battery)))

    # The plan in the making

    def show_plan(self, plan: Plan) -> None:
        """Go on from a plan that was read."""
        self.builder = PlanBuilder.of(plan)
        self.chosen = 0
        self._show_form()
        self._update()

    def know_past(self, plans: Sequence[Plan]) -> None:
        """Plans of past sessions, for what is worth a swap."""
        self.past = plans
        self.refresh()

    def know_study(self, reader: StudyReader) -> None:
        """The study that the session belongs to, for what it asks."""
        self._reader, self._asked = reader, None
        self._show_study()

    def choose(self, index: int) -> None:
        """The body map places this sensor from now on."""
        if index != self.chosen:
            self.chosen = index
            self.refresh()

    def last_session(self) -> LastSession:
        """What is proposed the next time."""
        builder = self.builder
        return LastSession(
            builder.wearer, builder.activity, builder.tolerance_bpm, builder.tolerance_percent
        )

    def _tick(self, address: str, selected: bool) -> None:
        found = self.discovered.get(address)
        addresses = [key(s) for s in self.builder.sensors]
        if selected and found is not None and address not in addresses:
            has = any(sensor.role == "reference" for sensor in self.builder.sensors)
            self.insert(self.discovered.planned(found, has_reference=has))
        elif not selected and address in addresses:
            self._remove(addresses.index(address))

    def _list_nodes(self) -> None:
        self._wants_nodes = True
        self.refresh()
        self.form.host.setFocus()
        self.changed.emit()

    @property
    def nodes_at(self) -> Broker | None:
        """The broker whose nodes are listed, if any are to be."""
        listed = any(sensor.source == "node" for sensor in self.builder.sensors)
        return (self.builder.broker or Broker()) if listed or self._wants_nodes else None

    def _add(self, dialog: AddDialog) -> None:
        self.dialog = dialog
        dialog.added.connect(self.insert)
        dialog.open()

    def insert(self, sensor: PlannedSensor) -> None:
        """Take a sensor into the plan; it is the one to be placed."""
        before = self.builder.sensors
        self.builder = self.builder.with_sensor(sensor)
        added = next(s for s in self.builder.sensors if s not in before)
        self.chosen = self.builder.sensors.index(added)
        self._update()

    def _give_signs(self) -> None:
        """A sign to each sensor under test; what is compared with has none of its own."""
        signed: list[PlannedSensor] = []
        for sensor in self.builder.sensors:
            if sensor.role == "test":
                others = (*signed, *self.builder.sensors[len(signed) + 1 :])
                sign = self.discovered.sign_for(sensor, others)
                signed.append(replace(sensor, sign=sign))
            else:
                signed.append(replace(sensor, sign=0))
        self.builder = replace(self.builder, sensors=tuple(signed))

    def _remove(self, index: int) -> None:
        self.list.setFocus()
        self.builder = self.builder.without(index)
        self.chosen = max(0, min(self.chosen, len(self.builder.sensors) - 1))
        self._update()

    def change(self, index: int, field: str, text: str) -> None:
        """Give a field of a sensor's another text."""
        who = identity(self.builder.sensors[index])
        self.builder = self.builder.changed(index, **{field: text})
        if field == "label":  # a simulated sensor is known by nothing else
            self._update()
            return
        place = self.builder.place_of(who)
        if place != index:  # the reference has gone to the top, and the keyboard with it
            self.chosen = place
        self._update()
        if place != index:
            self.selected.editors[place].role.setFocus()

    def _place(self, place: str) -> None:
        if self.builder.sensors:
            self.change(self.chosen, "placement", place)

    def _swap(self, swap: Swap) -> None:
        for index, placement in swap.placements:
            self.builder = self.builder.changed(index, placement=placement)
        # The button goes with the advice; the keyboard must not go with it, nor into a field.
        self.list.setFocus()
        self._update()

    def _wear(self, line: Line) -> None:
        """Take over who wears what where; sensors that are not ticked yet are asked for."""
        places = dict(line.placements)
        self.builder = replace(
            self.builder,
            wearer=line.wearer,
            sensors=tuple(
                replace(one, placement=places.get(one.label, one.placement))
                for one in self.builder.sensors
            ),
        )
        self.list.setFocus()
        self._show_form()
        self._update()

    def take_form(self) -> None:
        """Take the facts of the session from what was typed."""
        facts = self.form.facts()
        self.builder = replace(
            self.builder,
            wearer=facts.wearer,
            activity=facts.activity,
            tolerance_bpm=facts.tolerance_bpm,
            tolerance_percent=facts.tolerance_percent,
            broker=facts.broker,
            details=facts.details,
        )
        self._show_study()
        self.changed.emit()

    def propose_tolerance(self, bpm: float, percent: float) -> None:
        """Begin with this tolerance in place of the last session's."""
        self.builder = replace(self.builder, tolerance_bpm=bpm, tolerance_percent=percent)
        self._show_form()

    def _show_form(self) -> None:
        builder = self.builder
        self.form.show_facts(
            SessionFacts(
                builder.wearer, builder.activity, builder.tolerance_bpm, builder.tolerance_percent,
                builder.broker or Broker(), builder.details,
            )
        )  # fmt: skip

    def _update(self) -> None:
        self._give_signs()
        self.refresh()
        self.changed.emit()

    # What is shown

    def refresh(self) -> None:
        """Show the plan as it is."""
        sensors = self.builder.sensors
        self._show_discovered()
        self.nobody.setVisible(not sensors)
        self.selected.show_sensors(sensors, self._facts(), self.chosen)
        placed: dict[str, list[PlacedSensor]] = {}
        for sensor, style in zip(sensors, planned_styles(sensors), strict=True):
            placed.setdefault(sensor.placement, []).append(PlacedSensor(sensor.label, style))
        if sensors:
            chosen = sensors[self.chosen]
            self.whose.setText(f"Click where {chosen.label or 'this sensor'} is worn.")
            self.body_map.show_placed(placed, chosen.placement)
        else:
            self.whose.setText("Tick a sensor, then click where it is worn.")
            self.body_map.show_placed(placed, None)
        over_mqtt = any(s.over_mqtt for s in sensors)
        self.form.broker.setVisible(over_mqtt or self._wants_nodes)
        self._show_swaps()
        self._show_study()

    def _show_study(self) -> None:
        if self._reader is None:
            return
        told = {one.label: self.discovered.get(one.address) for one in self.builder.sensors}
        firmware = {label: one.firmware for label, one in told.items() if one and one.firmware}
        if (self.builder, firmware) == self._asked:
            return
        self._asked = (self.builder, firmware)
        advice = self._reader.advice(self.builder, firmware)
        self.study.show_advice(advice, self.builder, self._reader.problem)

    def _show_swaps(self) -> None:
        invented = any(sensor.source == "simulated" for sensor in self.builder.sensors)
        swaps = suggest_swaps(self.builder.sensors, self.past, invented=invented)
        if swaps == self.swaps and self._swaps.count():
            return
        self.swaps = swaps
        let_go_of(self._swaps)
        for swap in swaps:
            self._swaps.addWidget(sentence(swap.sentence, kind=""))
            button = QPushButton("swap now" if len(swap.placements) > 1 else "move it")
            button.setAccessibleName(f"{button.text()}: {swap.sentence}")
            button.clicked.connect(lambda _=False, swap=swap: self._swap(swap))
            self._swaps.addWidget(button, 0, Qt.AlignmentFlag.AlignLeft)
        self.advice.setVisible(bool(swaps))

    def apply_theme(self, theme: Theme) -> None:
        """Apply a theme."""
        for part in (self.list, self.selected, self.body_map, self.listening):
            part.apply_theme(theme)
        self._arrange()
        self.refresh()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """As many columns as the text's size leaves room for."""
        super().resizeEvent(event)
        self._arrange()

    def _arrange(self) -> None:
        letter, line = self.fontMetrics().averageCharWidth(), self.fontMetrics().height()
        letters, lines = self.viewport().width() / letter, self.viewport().height() / line
        # As large as there is room for, so that a large screen is read from where the sensors are
        # put on; by tenths, so that a window that is drawn larger is not laid out at each step.
        times = max(1.0, min(_LARGEST, int(10 * lines / _LINES) / 10, letters / _THREE))
        size = f"QWidget {{ font-size: {times * self.font().pointSizeF():.1f}pt; }}"
        style = size if times > 1.0 else ""  # the window has that size, and styling all costs time
        if style != self._inside.styleSheet():
            self._inside.setStyleSheet(style)
            self.list.apply_theme(self.list.theme)
        # Title, sentence and margins about the map take some seven lines.
        self.body_map.room = self.viewport().height() - round(7 * times * line)
        self.body_map.updateGeometry()
        self._lay_out(3 if letters >= _THREE else 2 if letters >= _TWO else 1)

    def _lay_out(self, count: int) -> None:
        if count == self._arranged:
            return
        self._arranged = count
        near, selected, study, advice, placing, form = self._sections
        for column in self._columns:
            while column.takeAt(0) is not None:
                pass
            self._across.removeItem(column)
            column.deleteLater()
        shares: tuple[tuple[int, tuple[QWidget, ...]], ...] = {
            3: (
                (5, (near, form)),
                (6, (selected, study, advice)),
                (4, (placing,)),
            ),
            2: ((5, (near, placing)), (6, (selected, study, advice, form))),
            1: ((1, (near, selected, study, advice, placing, form)),),
        }[count]
        self._columns = []
        for share, parts in shares:
            column = QVBoxLayout()
            column.setSpacing(8)
            # What may get longer takes the room that is left; in one column none is.
            grows = next((p for p in parts if p in (near, selected)), None) if count > 1 else None
            for part in parts:
                column.addWidget(part, int(part is grows))
            if grows is None:
                column.addStretch(1)
            self._across.addLayout(column, share)
            self._columns.append(column)
