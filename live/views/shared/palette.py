"""Colours, in a light and a dark theme, and the shapes beside them.

The sensors' colours are the hues of Okabe and Ito's palette for all kinds of colour vision ("Color
Universal Design", 2008) in an order of our own, as dark or as light as it takes to be seen on the
ground and on the reference's band alike (3 : 1).  A colour never stands alone: each sensor has its
own shape and each severity its own shape and word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from analysis.board.snapshot import Severity
from replay.plan import Plan, PlannedSensor
from replay.signs import COLOURS, SHAPES, signs_of


class Shape(StrEnum):
    """One shape; the value is the word for it."""

    BAR = "bar"
    DISC = "disc"
    SQUARE = "square"
    TRIANGLE = "triangle"
    DIAMOND = "diamond"
    CROSS = "cross"
    PLUS = "plus"
    STAR = "star"
    HALF = "half disc"
    WEDGE = "wedge"
    RING = "ring"
    OCTAGON = "octagon"


SENSOR_SHAPES = (
    Shape.DIAMOND, Shape.DISC, Shape.TRIANGLE, Shape.SQUARE, Shape.STAR, Shape.PLUS, Shape.HALF,
    Shape.CROSS,
)  # fmt: skip
"""By :mod:`replay.signs`."""


@dataclass(frozen=True, slots=True)
class Theme:
    """One theme.  All colours as ``#rrggbb``.

    ``ground``: behind plots and cards.  ``panel``: behind everything else.  ``ink``: text.
    ``faint``: text of less weight, still at 4.5 : 1.  ``rule``: grid and dividers.  ``frame``: of
    what can be operated, at 3 : 1.  ``band`` and ``band_edge``: the reference with its tolerance;
    ``band_core`` the reference itself.
    ``alarm`` and ``caution``: severities; ``well``: what is ready.  ``focus``: what the keyboard
    points at.  ``sensors``: colours by :mod:`replay.signs`.
    """

    name: str
    ground: str
    panel: str
    ink: str
    faint: str
    rule: str
    frame: str
    band: str
    band_edge: str
    band_core: str
    reference: str
    alarm: str
    caution: str
    well: str
    focus: str
    shade: str
    sensors: tuple[str, ...]

    @property
    def is_dark(self) -> bool:
        """Whether text is lighter than its ground."""
        parts = [int(self.ground[at : at + 2], 16) for at in (1, 3, 5)]
        return max(parts) + min(parts) < 256

    def severity(self, severity: Severity) -> str:
        """Colour of a severity's shape."""
        if severity >= Severity.REFERENCE_FAULT:
            return self.alarm
        return self.caution if severity is Severity.TEST_FAULT else self.faint


LIGHT: Final = Theme(
    name="light",
    ground="#fbfaf7",
    panel="#eceae4",
    ink="#1c1f23",
    faint="#595f66",
    rule="#d5d2ca",
    frame="#7f8388",
    band="#c8d2dd",
    band_edge="#66727f",
    band_core="#20272f",
    reference="#2a323c",
    alarm="#a8102c",
    caution="#8a5a00",
    well="#007a58",
    focus="#1f5fae",
    shade="#24507d",
    sensors=("#9c3f80", "#c04f00", "#1a739f", "#007a58", "#6b6400", "#0a5f9e", "#8a5f00"),
)

DARK: Final = Theme(
    name="dark",
    ground="#1d232a",
    panel="#14191f",
    ink="#eceff2",
    faint="#a3adb7",
    rule="#353d47",
    frame="#717c88",
    band="#3a4756",
    band_edge="#8b9aab",
    band_core="#dfe6ee",
    reference="#c5d0db",
    alarm="#ff7a86",
    caution="#f0b64a",
    well="#22bd90",
    focus="#7fb8ff",
    shade="#9cc9f2",
    sensors=("#dd93bd", "#f4883a", "#8fd0f5", "#22bd90", "#efe45a", "#62a8e8", "#e8a813"),
)

THEMES: Final = {theme.name: theme for theme in (LIGHT, DARK)}

SEVERITY_SHAPES: Final = {
    Severity.NOTICE: Shape.RING,
    Severity.TEST_FAULT: Shape.WEDGE,
    Severity.REFERENCE_FAULT: Shape.BAR,
    Severity.SESSION_FAULT: Shape.OCTAGON,
}

SEVERITY_WORDS: Final = {
    Severity.NOTICE: "notice",
    Severity.TEST_FAULT: "test sensor",
    Severity.REFERENCE_FAULT: "reference",
    Severity.SESSION_FAULT: "session",
}


@dataclass(frozen=True, slots=True)
class SensorStyle:
    """How one sensor is told from the others.  ``index``: of its colour, −1 for the reference.
    ``dashed``: its line, where its colour is there a second time.
    """

    shape: Shape
    index: int
    dashed: bool = False

    def colour(self, theme: Theme) -> str:
        """The sensor's colour in a theme."""
        if self.index < 0:
            return theme.reference
        return theme.sensors[self.index % len(theme.sensors)]


def style_of_sign(sign: int, *, dashed: bool = False) -> SensorStyle:
    """How a test sensor with this sign (:mod:`replay.signs`) looks."""
    return SensorStyle(SENSOR_SHAPES[(sign - 1) % SHAPES], (sign - 1) % COLOURS, dashed)


def planned_styles(sensors: Sequence[PlannedSensor]) -> list[SensorStyle | None]:
    """The style that each sensor will have in the session; ``None`` for companions."""
    styles: list[SensorStyle | None] = []
    colours: set[int] = set()
    for sensor, sign in zip(sensors, signs_of(sensors), strict=True):
        if sensor.role == "reference":
            styles.append(SensorStyle(Shape.BAR, -1))
        elif sensor.role == "test":
            colour = (sign - 1) % COLOURS
            styles.append(style_of_sign(sign, dashed=colour in colours))
            colours.add(colour)
        else:
            styles.append(None)
    return styles


def sensor_styles(plan: Plan) -> dict[int, SensorStyle]:
    """The style of each compared sensor of a plan, by number; the reference's is the first."""
    styles = enumerate(planned_styles(plan.sensors), 1)
    compared = {number: style for number, style in styles if style is not None}
    return {number: compared[number] for number in plan.compared}
