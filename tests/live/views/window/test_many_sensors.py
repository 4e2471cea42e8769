"""A window on more sensors than it can show at once."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication

from live.protocol.feed import Message, Tick
from live.views.window.parts.keys import Action
from live.views.window.parts.timeline import ReadingSeries
from replay.event import HEART_RATE, NS_PER_S, Event
from replay.payloads import encode_heart_rate
from replay.plan import Plan, PlannedSensor
from tests.standins.windows import picture, shown


def plan_of(sensors: int) -> Plan:
    rows = [PlannedSensor(label="Yarrow", role="reference", placement="chest", name="Yarrow")]
    rows += [
        PlannedSensor(label=f"Test {n}", role="test", placement="left wrist", name=f"Test {n}")
        for n in range(1, sensors)
    ]
    return Plan(wearer="W1", activity="rowing ergometer", sensors=tuple(rows))


def heard(sensors: int, seconds: int, rate_hz: int = 2) -> list[Message]:
    """Each sensor ``rate_hz`` times a second, each by a bpm of its own off the one heart."""
    messages: list[Message] = []
    for step in range(seconds * rate_hz):
        for sensor in range(1, sensors + 1):
            t_s = step / rate_hz + sensor / sensors / rate_hz
            if sensor == 3 and 20 <= t_s < 28:
                continue
            bpm = round(120 + 25 * math.sin(t_s / 9) + 3 * math.sin(sensor + t_s / 3)) + sensor % 7
            payload = encode_heart_rate(bpm, contact=True)
            messages.append(Event(round(t_s * NS_PER_S), sensor, HEART_RATE, payload))
        messages.append(Tick(round((step + 1) / rate_hz * NS_PER_S)))
    return messages


def pixels(widget) -> np.ndarray:
    """uint8[height, width, 3] of a widget, as it is on the screen now."""
    image = widget.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    whole = np.array(image.constBits()).reshape(image.height(), -1, 4)
    return whole[:, : image.width(), :3].copy()


@pytest.mark.parametrize("action", [Action.MINUTE, Action.FIVE], ids=["minute", "five"])
def test_solid_and_dashed_lines_move_on_as_if_painted_at_once(action):
    """Twenty lines, most of them dashed, which have come in small steps, are to the pixel those of
    a new window.
    """
    messages = heard(20, 75)
    half = len(messages) // 2
    with shown(messages[:half], plan=plan_of(20)) as (window, feed):
        window.do(action)
        picture(window)
        assert sum(style.dashed for style in window.styles.values()) > 10
        before = pixels(window.workbench.chart)
        for at in range(half, len(messages), 83):
            feed.waiting += messages[at : at + 83]
            window.frame()
            QApplication.processEvents()
        picture(window)
        moved = pixels(window.workbench.chart)
        assert window.faults.count == 0
    with shown(messages, plan=plan_of(20)) as (window, _):
        window.do(action)
        picture(window)
        anew = pixels(window.workbench.chart)
    assert (before != anew).any(axis=2).sum() > 2000
    assert (moved != anew).any(axis=2).sum() < 40


def test_both_upper_panels_are_in_sight_and_the_cards_have_their_bar():
    """Fifty lanes and fifty cards are scrolled; what answers "inside or outside?" needs no bar."""
    with shown(heard(50, 3), plan=plan_of(50)) as (window, _):
        bench, seen = window.workbench, window.workbench_page.viewport().height()
        assert window.workbench_page.verticalScrollBar().maximum() > 0
        chart = bench.chart
        lanes = chart.mapTo(
            bench, chart.mapFromScene(chart.bottom.vb.sceneBoundingRect()).boundingRect().topLeft()
        )
        assert 0.8 * seen < lanes.y() <= seen
        assert chart.top.vb.height() > 150
        assert chart.middle.vb.height() > 100
        assert bench.cards.viewport().height() <= seen + 20
        assert bench.cards.verticalScrollBar().maximum() > 3000
        assert bench.plane.isVisible()
        assert not bench.under.isVisible()


def test_a_card_that_comes_into_sight_is_of_the_instant_of_the_others():
    """A card far down, scrolled to between two pictures, shows what the newest picture shows."""
    with shown(heard(50, 3), plan=plan_of(50)) as (window, feed):
        feed.waiting += [
            Event(4 * NS_PER_S, 50, HEART_RATE, encode_heart_rate(201, contact=True)),
            Tick(6 * NS_PER_S),
        ]
        window.frame()
        card = window.workbench.cards.cards[49]
        assert "201" not in card.accessibleDescription()
        column = window.workbench.cards
        column.verticalScrollBar().setValue(column.verticalScrollBar().maximum())
        QApplication.processEvents()
        assert "201 bpm" in card.accessibleDescription()


def test_cards_out_of_sight_follow_for_readers_of_screens():
    """Within a second of pictures every card says the value of that second."""
    with shown(heard(50, 3), plan=plan_of(50)) as (window, feed):
        feed.waiting += [
            Event(4 * NS_PER_S + n, n, HEART_RATE, encode_heart_rate(199, contact=True))
            for n in range(1, 51)
        ]
        for step in range(9):
            feed.waiting.append(Tick(6 * NS_PER_S + step * NS_PER_S // 9))
            window.frame()
        said = [card.accessibleDescription() for card in window.workbench.cards.cards]
        assert all("199 bpm" in one for one in said)


def test_lanes_that_are_scrolled_to_are_painted_and_told():
    """Of many lanes those in sight are painted; a lane that is scrolled to is there at once."""
    with shown(heard(50, 40), plan=plan_of(50)) as (window, _):
        picture(window)  # with the room that the lanes have since the first one
        chart = window.workbench.chart
        bar = window.workbench_page.verticalScrollBar()
        bar.setValue(bar.maximum())
        QApplication.processEvents()
        seen = pixels(window.workbench_page.viewport())
        window.redraw()
        picture(window)
        anew = pixels(window.workbench_page.viewport())
        assert (seen != anew).any(axis=2).sum() < 40
        # The last sensor's track, in its colour, at the lower end of the lanes.
        box = chart.mapFromScene(chart.bottom.vb.sceneBoundingRect()).boundingRect()
        image = chart.grab().toImage()
        colour = window.styles[50].colour(window.theme)
        column = [
            image.pixelColor(box.left() + 8, y).name()
            for y in range(box.bottom() - 24, box.bottom())
        ]
        assert colour in column


def test_a_stretch_that_moves_on_is_drawn_as_one_taken_anew():
    """Whatever is kept of a series, what is drawn of any stretch of it is the same."""
    t_ns = np.cumsum(np.where(np.arange(3000) % 97 == 5, 5, 1) * NS_PER_S // 4)
    mbpm = (100_000 + 1000 * (np.arange(3000) % 50)).astype(np.int32)
    kept = ReadingSeries(NS_PER_S)
    for count in range(1, 3000, 7):
        kept.catch_up(t_ns[:count], mbpm[:count])
        end_s = float(t_ns[count - 1]) / NS_PER_S
        stretches = ((end_s - 60, end_s), (end_s - 90, end_s - 30), (end_s - 200, end_s + 10))
        start_s, stop_s = stretches[count % 3]
        fresh = ReadingSeries(NS_PER_S)
        fresh.catch_up(t_ns[:count], mbpm[:count])
        one, other = (made.drawn(start_s, stop_s, 500) for made in (kept, fresh))
        for name in ("t_s", "low", "high", "joined"):
            assert getattr(one, name).tolist() == getattr(other, name).tolist()
