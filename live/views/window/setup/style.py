"""Looks of a planned session's sensors, and what the set-up page adds to the window's style."""

from __future__ import annotations

from collections.abc import Sequence

from live.views.window.parts.shapes import SENSOR_SHAPES, Shape
from live.views.window.parts.theme import SensorStyle, Theme
from replay.plan import PlannedSensor


def planned_styles(sensors: Sequence[PlannedSensor]) -> list[SensorStyle | None]:
    """The style that each sensor will have in the session; ``None`` for companions."""
    styles: list[SensorStyle | None] = []
    tests = 0
    for sensor in sensors:
        if sensor.role == "reference":
            styles.append(SensorStyle(Shape.BAR, -1))
        elif sensor.role == "test":
            rounds = len(SENSOR_SHAPES)
            styles.append(SensorStyle(SENSOR_SHAPES[tests % rounds], tests, dashed=tests >= rounds))
            tests += 1
        else:
            styles.append(None)
    return styles


def setup_style(theme: Theme) -> str:
    """Style of the controls that only the set-up page has."""
    return f"""
    QFrame#section, QFrame#card {{
        background: {theme.ground}; border: 1px solid {theme.rule}; border-radius: 3px;
    }}
    QFrame#card[chosen="true"] {{ border: 2px solid {theme.focus}; }}
    QLabel#heading {{ font-weight: bold; }}
    QLabel#faint {{ color: {theme.faint}; }}
    QLabel#alarm {{ color: {theme.alarm}; }}
    QPushButton#forward {{
        background: {theme.ink}; color: {theme.ground}; font-weight: bold; padding: 6px 16px;
    }}
    QPushButton#forward[ready="false"] {{
        background: {theme.ground}; color: {theme.ink}; border: 1px solid {theme.ink};
    }}
    QPushButton#forward:disabled {{
        background: {theme.panel}; color: {theme.faint}; border: 1px dashed {theme.faint};
    }}
    QPushButton#forward:focus {{ border: 2px solid {theme.focus}; }}
    """
